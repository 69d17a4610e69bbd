"""Acts on exports: make, take, withdraw. Each is one transaction with its log."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from random import SystemRandom

from django.db import transaction
from django.db.models import Q

from audit.exchange.preparing import Made, NotExportable, Prepared, make, protection_words
from audit.exchange.series import Way, refused_after, refused_beside
from audit.exchange.tables import Given, to_keep
from audit.peers.models import Export, Taking
from clinic.access.models import Member, Practice


@dataclass(frozen=True)
class Recipient:
    """To whom and why. group, practice: codes of the peer group and of this practice in it."""

    group: str
    practice: str
    name: str
    purpose: str


def standing_exports(practice: Practice) -> list[Export]:
    """What has left and was not withdrawn, without the files."""
    return list(Export.objects.filter(practice=practice, withdrawn_at__isnull=True).defer("file"))


def made_before(practice: Practice, prepared: Prepared, group: str) -> Export | None:
    """The export of this very audit for this group; a closed period leaves once."""
    return Export.objects.filter(
        practice=practice, audit_checksum=prepared.audit.checksum, group_code=group, withdrawn_at__isnull=True
    ).first()


def refused(practice: Practice, prepared: Prepared) -> str:
    """Why this must not leave after what has left before, for whichever group; empty where it may."""
    cohort, protected = prepared.audit.cohort, prepared.protected
    way = Way(cohort.performed_from, cohort.performed_to, protected.k, protected.harmless_declared)
    earlier = [(_contents(each), _way(each)) for each in standing_exports(practice)]
    return refused_beside(prepared.contents, way, earlier) or refused_after(
        prepared.contents, [contents for contents, _ in earlier]
    )


@dataclass(frozen=True, eq=False)
class Ready:
    """A file made beside the exports that stood then. beside: their rows and versions. corrected: the one it replaces.

    Making it takes long, so it is made before anything is locked; if something else left meanwhile, it is made again.
    """

    made: Made
    beside: tuple[tuple[int, int], ...]
    corrected: Export | None


def made_ready(practice: Practice, prepared: Prepared, recipient: Recipient) -> Ready | None:
    """The file, not kept yet; None where it left before. Raises NotExportable as `make_export` does."""
    beside = _beside(practice)
    if earlier := made_before(practice, prepared, recipient.group):
        _refuse_other_rules(earlier, prepared)
        return None
    if reason := refused(practice, prepared):
        raise NotExportable(
            f"This file must not leave: {reason}. Withdraw the earlier file first, or make this one of the same "
            "period and with the same protection once more records have changed."
        )
    cohort = prepared.audit.cohort
    corrected = _corrected(practice, recipient.group, cohort.performed_from, cohort.performed_to)
    made = make(
        prepared, SystemRandom(), group=recipient.group, practice=recipient.practice,
        replaces=corrected.content if corrected else "",
        earlier=list(_tables(practice)),
    )  # fmt: skip
    return Ready(made, beside, corrected)


def other_rules(earlier: Export, prepared: Prepared) -> str:
    """How the rules of the file that left differ from those asked for now, as a sentence; empty where they do not."""
    protected = prepared.protected
    if (earlier.k, earlier.harmless_declared) == (protected.k, protected.harmless_declared):
        return ""
    return (
        f"this audit left for this group already under other rules ({_rules(earlier.k, earlier.harmless_declared)}, "
        f"now {_rules(protected.k, protected.harmless_declared)}); withdraw that file first to make another"
    )


def make_export(
    *, by: Member, prepared: Prepared, recipient: Recipient, now: datetime, ready: Ready | None = None
) -> Export:
    """Keep the file, or find the one that was made of this audit for this group before.

    ready: made just before, outside of the transaction. Raises NotExportable where the file would give somebody away
    together with an earlier one, and where it left before under other rules. Whoever calls has seen that the
    signatures stand (`signed.export_signed`).
    """
    with transaction.atomic():
        practice = Practice.objects.select_for_update().get(pk=by.practice_id)
        if earlier := made_before(practice, prepared, recipient.group):
            _refuse_other_rules(earlier, prepared)
            return earlier
        if ready is None or ready.beside != _beside(practice):
            ready = made_ready(practice, prepared, recipient)
        assert ready is not None  # noqa: S101  nothing left before: the row is locked
        made, corrected = ready.made, ready.corrected
        cohort = prepared.audit.cohort
        signature, *before = prepared.audit.signatures
        export = Export(
            practice=practice,
            signed_id=signature,
            signed_before_id=before[0] if before else None,
            audit_label=prepared.audit.label,
            audit_checksum=prepared.audit.checksum,
            performed_from=cohort.performed_from,
            performed_to=cohort.performed_to,
            group_code=recipient.group,
            practice_code=recipient.practice,
            recipient=recipient.name,
            purpose=recipient.purpose,
            k=prepared.protected.k,
            harmless_declared=prepared.protected.harmless_declared,
            file=made.file,
            sha256=hashlib.sha256(made.file).hexdigest(),
            content=made.manifest.content,
            rows=len(made.rows),
            protection=dict(protection_words(prepared.protected)),
            contents={patient: sorted(rows) for patient, rows in prepared.contents.items()},
            tables=[to_keep(table) for table in made.tables],
            replaces=corrected,
            made_by=by,
            made_at=now,
        )
        export.keep(by=by)
        return export


def take(
    *, practice: Practice, by: Member | None, what: Taking.What, now: datetime, export: Export | None = None,
    about: str = "", sha256: str = "", by_command: bool = False,
) -> Taking:  # fmt: skip
    """Note that something is taken out. If the note cannot be written nothing may be given."""
    return Taking.objects.create(
        practice=practice, member=by, at=now, what=what, export=export, about=about, sha256=sha256,
        by_command=by_command,
    )  # fmt: skip


@transaction.atomic
def withdraw_export(*, by: Member, export: Export, version: int, reason: str, now: datetime) -> None:
    """Say that a file no longer stands. Raises Conflict if it moved on. The file and its log stay."""
    export.version = version
    export.withdrawn_by, export.withdrawn_at, export.withdrawn_reason = by, now, reason
    export.save_version(by=by, reason=reason)


def _beside(practice: Practice) -> tuple[tuple[int, int], ...]:
    standing = Export.objects.filter(practice=practice, withdrawn_at__isnull=True)
    return tuple(standing.values_list("pk", "version"))


def _refuse_other_rules(earlier: Export, prepared: Prepared) -> None:
    if reason := other_rules(earlier, prepared):
        raise NotExportable(f"{reason[0].upper()}{reason[1:]}.")


def _rules(k: int, harmless: bool) -> str:
    return f"{k} patients alike{'' if harmless else ', strict'}"


def _contents(export: Export) -> dict[str, frozenset[str]]:
    return {patient: frozenset(rows) for patient, rows in export.contents.items()}


def _way(export: Export) -> Way:
    return Way(export.performed_from, export.performed_to, export.k, export.harmless_declared)


def _corrected(practice: Practice, group: str, first: date, last: date) -> Export | None:
    """The standing file of the same period for the same group, which the new one corrects."""
    return Export.objects.filter(
        practice=practice, group_code=group, performed_from=first, performed_to=last, withdrawn_at__isnull=True
    ).last()


def _tables(practice: Practice) -> Iterable[Given]:
    """Every published table that stands, and every one that was taken out: what was published is not called back."""
    taken = Taking.objects.filter(practice=practice, what=Taking.What.TABLES).values("export_id")
    exports = Export.objects.filter(Q(withdrawn_at__isnull=True) | Q(pk__in=taken), practice=practice)
    for export in exports.defer("file", "contents"):
        for kept in export.tables:
            yield Given.of(kept, first=export.performed_from, last=export.performed_to)
