"""The scenario of the first practice: 171 patients, 196 operations, 240 nail procedures, 284 treated sides.

Pure and seeded: no database, no clock. Every total is dealt out, never drawn, so that the audit as of 30 May 2025
prints the figures that the scenario was invented for. How its lines are read:

- The by-side lines (fibular 3/62, tibial 3/36) are treated sides of partial avulsion with phenol, any regrowth: the 82
  known toes hold 46 fibular only, 20 tibial only and 16 with both, which is 62 and 36. The 101 toes of every partial
  matricectomy could not have 98 sides.
- 163 of 196 at six months counts nail procedures: the 152 of the first two years and the 44 of the third whose day 240
  is over. (196 is also the number of operations; that is chance.) All 118 known at 12 months were seen at six months.
- The patient who died is in the third year: a death among the first two would leave 151 eligible.
- Healing is the day of the first review that sees the toe dry; known is 219 of 240 at the cut-off.
- Stages count the Mozena system: the one toe staged in another system is among the 15 without.
- The regrowth that was seen at seven months and lost afterwards was operated on again elsewhere, as the patient told
  by phone: so it is known for all three outcomes.
"""

import random

from clinic.demo import awkward, course, deal, surgery
from clinic.demo.shapes import Plan, give_keys

SEED = 20250530


def build() -> Plan:
    """The whole plan of the practice: three years of operations and their own follow-up, also beyond the cut-off."""
    rng = random.Random(SEED)
    operations = deal.operations(rng, deal.toes(rng))
    deal.years(rng, operations)
    deal.feet(rng, operations)
    course.choose_follow_up(rng, operations)
    course.choose_healing(rng, operations)
    deal.dates(rng, operations)
    plan = Plan(deal.patients(rng, operations))
    deal.operators(rng, operations)
    # Before anything is marked as awkward, so that marks can name rows by key.
    give_keys(rng, plan.patients)
    surgery.describe(rng, plan)
    awkward.weave(rng, plan)
    course.follow_up(rng, plan)
    awkward.finish(rng, plan)
    give_keys(rng, plan.patients)
    return plan
