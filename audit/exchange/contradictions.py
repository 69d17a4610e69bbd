"""Rows that cannot all be true: within a row, within a toe, within a patient, and against the manifest. No Django."""

from collections.abc import Iterator

import pandas as pd

from audit.exchange.columns import DAY_LIMITS, FILE
from audit.exchange.manifest import Manifest, content_digest
from audit.exchange.problems import Problem, Refused
from audit.exchange.protect import all_have_it, recount
from audit.exchange.words import EarlyContact, Exposure, Hidden, WiderSide, WiderTechnique, YesNo
from audit.measures.definitions import TWELVE_MONTHS, HowKnown, Outcome, Status
from audit.measures.infection import Flag
from clinic.vocabulary.procedure import Agent, NailSide, StrengthBasis, Technique

Found = Iterator[tuple[str, pd.Series, str]]  # column, which rows, why
_TAKES = {term.value for term in Technique if term.takes_agent}
_NO_AGENT = {term.value for term in Technique if not term.takes_agent}
_SURELY = {
    **{term.value: term.destroys_matrix for term in Technique if term.destroys_matrix is not None},
    WiderTechnique.WITH_MATRICECTOMY.value: True,
    WiderTechnique.WITHOUT_MATRICECTOMY.value: False,
}
_FITS = {term.value: term.fits_whole_nail for term in Technique if term.fits_whole_nail is not None}
_SAME_ON_A_TOE = ("patient_code", "technique", "matrix_destroyed", "agent", "strength_percent", "strength_basis",
                  "curettage", "lavage", "infection_at_operation", "healed_not_by_day", "healed_by_day",
                  "early_contact", *(f"infection_{flag.value}" for flag in Flag))  # fmt: skip
# Ten toes, each operated on again and again: far more than one period of one patient holds (our own choice).
MOST_TOES = 40
_KNOWN = {Status.EVENT.value, Status.CLEAR.value}
_OPENS = str(max(limit for limit in DAY_LIMITS if limit < TWELVE_MONTHS.opens_day))


def check_rows(rows: pd.DataFrame, manifest: Manifest) -> None:
    """Raises Refused with every contradiction. rows: each cell valid on its own."""
    problems = [
        Problem(FILE, reason, int(place) + 2, column)
        for column, where, reason in _within_rows(rows)
        for place in rows.index[where]
    ]
    problems += _between_rows(rows)
    if problems:
        problems.sort(key=lambda one: (one.row or 0, one.column))
        raise Refused(problems, len(problems))
    against = list(_against_manifest(rows, manifest))
    if against:
        raise Refused(against)


def _within_rows(rows: pd.DataFrame) -> Found:
    yield from _surgery(rows)
    for outcome in Outcome:
        yield from _status(rows, outcome)
    yield from _loss(rows)
    for outcome in (Outcome.ANY_REGROWTH, Outcome.SYMPTOMATIC_RECURRENCE):
        yield from _days(rows, outcome)
    yield from _infection(rows)


def _surgery(rows: pd.DataFrame) -> Found:
    technique, agent, destroyed = rows["technique"], rows["agent"], rows["matrix_destroyed"]
    for code, sure in _SURELY.items():
        wanted = (YesNo.YES if sure else YesNo.NO).value
        yield "matrix_destroyed", (technique == code) & (destroyed != wanted), f"technique {code} says otherwise"
    for code, whole in _FITS.items():
        is_whole = rows["side"] == NailSide.WHOLE
        yield "side", (technique == code) & (is_whole != whole), f"technique {code} is not done there"
    yield "agent", technique.isin(_TAKES) & (agent == Agent.NONE), "this technique uses an agent"
    yield "agent", technique.isin(_NO_AGENT) & (agent != Agent.NONE), "this technique uses no agent"
    exposure = rows["exposure"]
    none = exposure == Exposure.NOT_APPLICABLE
    yield "exposure", technique.isin(_TAKES) & none, "this technique uses an agent"
    yield "exposure", technique.isin(_NO_AGENT) & ~none, "this technique uses no agent"
    has = rows["exposure_seconds"] != ""
    yield "exposure_seconds", has & (exposure != Exposure.RECORDED), "there are seconds, but exposure says otherwise"
    yield "exposure_seconds", ~has & (exposure == Exposure.RECORDED), "exposure is recorded, but there are no seconds"
    for name in ("applications", "seconds_each"):
        yield name, (rows[name] != "") & ~has, "stands there without the seconds in all"
    parts = rows[["applications", "seconds_each", "exposure_seconds"]]
    all_three = (parts != "").all(axis=1)
    numbers = parts.where(all_three, "0").astype(int)
    product = numbers["applications"] * numbers["seconds_each"]
    wrong = all_three & (product != numbers["exposure_seconds"])
    yield "exposure_seconds", wrong, "is not applications times seconds each"
    basis = rows["strength_basis"]
    no_agent = agent == Agent.NONE
    yield "strength_basis", no_agent != (basis == StrengthBasis.NOT_APPLICABLE), "does not go with the agent"
    unnamed = agent.isin(["merged", Hidden.WITHHELD.value])
    tells = (basis != Hidden.WITHHELD) | (rows["lavage"] != Hidden.WITHHELD) | (exposure != Hidden.WITHHELD)
    yield "agent", unnamed & tells, "is not named, but other columns of the row would name it"
    yield "strength_percent", (rows["strength_percent"] != "") & (no_agent | unnamed), "is the strength of no agent"


def _status(rows: pd.DataFrame, outcome: Outcome) -> Found:
    name, status = outcome.value, rows[outcome.value]
    known = status.isin(_KNOWN)
    if outcome is Outcome.ANY_REGROWTH:
        applies = rows["matrix_destroyed"] == YesNo.YES
        yield name, applies == (status == Status.NOT_APPLICABLE), "does not go with whether the matrix was destroyed"
    else:
        yield name, status == Status.NOT_APPLICABLE, "applies to every side"
    yield name, status == Status.PENDING, "is pending, but the set says that every outcome is due"
    by = rows[f"{name}_known_by"]
    yield f"{name}_known_by", known == (by == HowKnown.NOT_APPLICABLE), "does not go with the status"
    yield f"{name}_examined", ~known & (rows[f"{name}_examined"] == YesNo.YES), "nothing is known that was examined"
    late = rows[f"{name}_late"] == YesNo.YES
    allowed = status.isin([Status.CLEAR.value, Status.LOST.value])
    yield f"{name}_late", late & ~allowed, "does not go with the status"


def _loss(rows: pd.DataFrame) -> Found:
    lost = (rows[[outcome.value for outcome in Outcome]] == Status.LOST.value).any(axis=1)
    has = rows["loss_reason"] != ""
    yield "loss_reason", lost & ~has, "an outcome is lost, and the row does not say why"
    yield "loss_reason", ~lost & has, "no outcome of this row is lost"


def _days(rows: pd.DataFrame, outcome: Outcome) -> Found:
    """A widened day may stand a little to the side of the true one, never on the other side of a limit."""
    name = outcome.value
    before, by = (_number(rows[f"{name}_{part}"]) for part in ("not_by_day", "by_day"))
    counted = rows["matrix_destroyed"] == YesNo.YES
    yield f"{name}_by_day", before.notna() & by.notna() & (before > by), "lies before the day it was still clear"
    event = counted & (rows[name] == Status.EVENT)
    yield f"{name}_by_day", event & ~(by <= TWELVE_MONTHS.closes_day), "an event is seen by the end of the window"
    clear = counted & (rows[name] == Status.CLEAR)
    yield f"{name}_not_by_day", clear & ~(before >= int(_OPENS)), "a clear side is seen clear within the window"
    yield f"{name}_by_day", clear & (by <= int(_OPENS)), "a clear side has no event before the window"
    yield f"{name}_by_day", ~counted & by.notna(), "regrowth is expected where the matrix was left"
    yield f"{name}_not_by_day", ~counted & before.notna(), "regrowth is expected where the matrix was left"


def _infection(rows: pd.DataFrame) -> Found:
    contact = rows["early_contact"] == EarlyContact.CONTACTED
    for flag in Flag:
        name = f"infection_{flag.value}"
        yield name, contact & (rows[name] == ""), "there was a contact, so it is yes or no"
        yield name, ~contact & (rows[name] != ""), "there was no contact, so nobody can say"
    signs, rule = (rows[f"infection_{flag.value}"] == YesNo.YES for flag in (Flag.RULE_A_SIGNS, Flag.RULE_A))
    yield "infection_rule_a", signs & ~rule, "is at least what it is without the clinician's diagnosis"
    healed, still = _number(rows["healed_by_day"]), _number(rows["healed_not_by_day"])
    yield "healed_by_day", healed.notna() & still.notna() & (still > healed), "lies before the day it was still open"


def _number(values: pd.Series) -> pd.Series:
    return pd.to_numeric(values.where(values != ""), errors="coerce")


def _between_rows(rows: pd.DataFrame) -> list[Problem]:
    found = [
        Problem(FILE, "stands in an earlier row, too", int(place) + 2, "row_code")
        for place in rows.index[rows["row_code"].duplicated()]
    ]
    for name in _SAME_ON_A_TOE:
        found += _differing(rows, "toe_code", name)
    found += _differing(rows, "patient_code", "age_band")
    found += _too_many_toes(rows)
    edges = {NailSide.TIBIAL.value, NailSide.FIBULAR.value, WiderSide.EDGE.value}
    place = rows.groupby("toe_code").cumcount()
    twice = rows.duplicated(["toe_code", "side"]) & (rows["side"] != WiderSide.EDGE)
    found += [Problem(FILE, "one toe has this side twice", int(at) + 2, "side") for at in rows.index[twice]]
    found += [Problem(FILE, "one toe has more than two sides", int(at) + 2, "side") for at in rows.index[place > 1]]
    whole = (rows["side"] == NailSide.WHOLE).groupby(rows["toe_code"]).transform("any")
    mixed = whole & rows["side"].isin(edges)
    return found + [
        Problem(FILE, "one toe has its whole nail and an edge", int(at) + 2, "side") for at in rows.index[mixed]
    ]


def _too_many_toes(rows: pd.DataFrame) -> list[Problem]:
    """One problem a patient, where the first toe too many stands."""
    toes = rows.drop_duplicates(["patient_code", "toe_code"])
    beyond = toes[toes.groupby("patient_code").cumcount() == MOST_TOES]
    reason = f"one patient has more than {MOST_TOES} toes"
    return [Problem(FILE, reason, int(at) + 2, "patient_code") for at in beyond.index]


def _differing(rows: pd.DataFrame, key: str, name: str) -> list[Problem]:
    first = rows.groupby(key)[name].transform("first")
    where = rows.index[first != rows[name]]
    what = "toe" if key == "toe_code" else "patient"
    return [Problem(FILE, f"differs between rows of one {what}", int(at) + 2, name) for at in where]


def _against_manifest(rows: pd.DataFrame, manifest: Manifest) -> Iterator[Problem]:
    def wrong(name: str, reason: str) -> Problem:
        return Problem("manifest.json", reason, column=name)

    if len(rows) != manifest.rows:
        yield wrong("rows", f"says {manifest.rows}; there are {len(rows)}")
    codes = int(rows["patient_code"].nunique())
    if codes != manifest.patient_codes:
        yield wrong("patient_codes", f"says {manifest.patient_codes}; there are {codes}")
    if set(rows["audit_year"]) != {manifest.audit_year}:
        yield wrong("audit_year", "the rows are of another audit year")
    if content_digest(rows) != manifest.content:
        yield wrong("content", "the rows are not those the manifest was made for")
    finished = rows.assign(cluster_key=rows["patient_code"], toe_key=rows["toe_code"])
    alike = recount(finished, rows["patient_code"])
    if alike.k < manifest.k:
        yield wrong("k", f"says {manifest.k} patients look alike; for some only {alike.k} do")
    if alike.k < manifest.least_alike:
        yield wrong("least_alike", f"says {manifest.least_alike}; recounted it is {alike.k}")
    if not manifest.harmless_declared and min(alike.distinct.values()) < 2:
        yield wrong("harmless_declared", "a group shares one outcome, and that was not declared harmless")
    if shared := all_have_it(finished):
        yield wrong("k", f"all patients of a group that look alike have the event ({shared}): that tells on them")
