"""The yearly report of 5,000 nail procedures: counted afresh, from its snapshot, and beside a notebook-style script."""

from audit.measures.columns import Cohort
from audit.measures.criteria import shipped_standards
from audit.report.annual import annual, recounted, snapshot
from tests.benchmarks import notebook
from tests.benchmarks.measuring import Table, measure_once, seconds
from tests.benchmarks.peers import Peers
from tests.benchmarks.year import year

SIZES = (500, 5_000)
REPLICATES, TIMED = 1_000, 4
COLUMNS = {
    "procedures": 12, "reviews": 9, "figures": 11, "snapshot": 11, "recount": 11, "same": 7, "notebook": 12,
    "ours is": 10, "risk ours": 11, "notebook's": 12,
}  # fmt: skip


def run(quick: bool, peers: Peers) -> None:
    """figures: three outcomes, all groups, healing, criteria, with 1,000 draws of patients for every interval over
    time. notebook: the counts of three outcomes and one curve each with as many draws, of which 4 are timed and
    multiplied; it does a part of the work. risk: of any regrowth by day 365, both ways."""
    table = Table(f"The yearly report, {REPLICATES:,} draws of patients", COLUMNS)
    standards = shipped_standards()
    annual(year(60), standards)  # once to warm up
    for size in SIZES[:-1] if quick else SIZES:
        made = year(size)
        ours = measure_once(lambda made=made: annual(made, standards))
        body = measure_once(lambda made=made, found=ours.result: snapshot(made, standards, {}, found))
        again = measure_once(lambda body=body: recounted(body.result))
        script = sum(_notebook(made.cohort, outcome) for outcome in notebook.OUTCOMES)
        days = ours.result["outcomes"]["any_regrowth"]["estimated"]["all"]["days"]
        other = notebook.risk(notebook.counted(made.cohort, "any_regrowth")[1])
        table.row(
            f"{size:,}", f"{len(made.cohort.toe_findings):,}", seconds(ours.best), seconds(body.best),
            seconds(again.best), "yes" if again.result.same else "NO", seconds(script), f"{script / ours.best:,.0f} x",
            f"{next(day['risk'] for day in days if day['day'] == 365):.4f}", f"{other:.4f}",
        )  # fmt: skip


def _notebook(cohort: Cohort, outcome: str) -> float:
    """Seconds for one outcome with all draws."""
    counts = measure_once(lambda: notebook.counted(cohort, outcome))
    drawn = measure_once(lambda: notebook.draws(counts.result[1], TIMED))
    return counts.best + drawn.best / TIMED * REPLICATES
