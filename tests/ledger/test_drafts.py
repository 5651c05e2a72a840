"""The digest of what was asked: kept with every move, so it may never change for the same content."""

import datetime as dt
import hashlib
import uuid

from stock.drafts import CatchLine, Draft, HaulDraft, Line, content_sha256
from stock.models import Reason

KEY = uuid.UUID("7d1c0d0e-5a3b-4c58-9a7e-0b8f0c1d2e3f")
# The canonical text, written by hand: names in order, no spaces, days and keys as text, tuples as lists.
CANONICAL = (
    '["record",{"batches":[],"counts":[],"happened_on":"2026-05-14","haul":null,"key":"'
    '7d1c0d0e-5a3b-4c58-9a7e-0b8f0c1d2e3f","lines":[{"batch":"","cause":"","heads":3,"kind":"slider",'
    '"of_class":"FEMALE","source":"A","target":"SOLD","to_class":"","turtles":["T1","T2"]}],"made_as":"BANK",'
    '"marks":[],"note":"","papers":[],"pond":"A","tasks":[4]}]'
)


def draft(**more):
    line = Line("slider", "FEMALE", "A", "SOLD", 3, turtles=("T1", "T2"))
    return Draft(KEY, dt.date(2026, 5, 14), (line,), pond="A", tasks=(4,), **more)


def test_the_digest_of_a_draft_is_that_of_its_canonical_text():
    assert content_sha256("record", draft()) == hashlib.sha256(CANONICAL.encode()).hexdigest()


def test_the_digest_is_the_same_for_the_same_content_whatever_made_it():
    assert content_sha256(Reason.SOLD, (1, 2)) == content_sha256("SOLD", [1, 2])
    assert content_sha256(dt.date(2026, 5, 14), KEY) == content_sha256("2026-05-14", str(KEY))
    assert content_sha256("record", draft()) != content_sha256("record", draft(note="wet"))
    haul = HaulDraft("SEINE", (), effort=2.0, effort_typed="2")
    assert content_sha256("record", draft(haul=haul)) != content_sha256("record", draft())


def test_an_empty_field_of_marks_is_the_content_that_an_older_page_sent_as_0():
    """A sheet or a phone that sends again what an older register wrote is told that it stands, not that it differs."""
    old, new = (CatchLine("slider", "FEMALE", 9, carrying_marks=marks) for marks in (0, None))
    assert content_sha256("record", HaulDraft("SEINE", (old,))) == content_sha256(
        "record", HaulDraft("SEINE", (new,))
    )
    other = CatchLine("slider", "FEMALE", 9, carrying_marks=1)
    assert content_sha256(HaulDraft("SEINE", (other,))) != content_sha256(HaulDraft("SEINE", (new,)))
