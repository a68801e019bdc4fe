"""People and rings used by several tests (invented, or the check cases of the handbook values)."""

from protocol.estimates.body import Arms, Person
from protocol.estimates.result import Span
from protocol.estimates.ring import Ring
from protocol.units import FOOT_M

SIX_FOOT = Person(Span.exact(6 * FOOT_M), Span.exact(80.0), Arms.UP)
METRE_EIGHTY = Person(Span.exact(1.80), Span.exact(80.0), Arms.UP)
TWO_BY_TWO = Ring.of(4, 2 * FOOT_M)
