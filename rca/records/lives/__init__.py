"""From repairs to lives: how long each fitted part ran, whether it failed, since when it was seen.

A life belongs to one unit, part, position and fitting. A repair that renews the part ends it and
begins the next one at age 0; a failure mended without renewal ends a *piece* of it as failed, and
the next piece goes on from that age. What was last seen running is a suspension.

A first life starts at age 0 only where its unit entered service after the records begin. Else its
age must be proved by a fitted date or meter. Such proof mostly stands on the row of the removal,
so that only parts that failed have it; taking those in and leaving the survivors out makes lives
look short (in a simulated fleet with a true shape of 1 and scale of 900 days it gave 1.4 and 570).
So late entries are used only where at most a tenth of a part's first lives lack proof; otherwise
all its first lives of unknown age are set aside, failed and surviving alike.
"""

from rca.records.lives.notes import life_notes
from rca.records.lives.table import (
    AGE_UNKNOWN,
    FIRST_LIVES,
    MOST_UNPROVED,
    PROOF_BY_END,
    LifeTable,
    build_lives,
    build_lives_each_way,
)

__all__ = [
    "AGE_UNKNOWN",
    "FIRST_LIVES",
    "MOST_UNPROVED",
    "PROOF_BY_END",
    "LifeTable",
    "build_lives",
    "build_lives_each_way",
    "life_notes",
]
