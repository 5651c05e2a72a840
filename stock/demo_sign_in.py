"""The three people of the demo farm and the pass phrase they sign in with."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from django.conf import settings
from django.contrib.auth.models import User

from ponds.roles import HAND, OWNER, READER, give_role

PEOPLE = {"wren": OWNER, "ibis": HAND, "heron": READER}
WORDS_A_PHRASE = 5
WORDS = (  # noqa: SIM905  (a hundred words are read best as text)
    "acorn alder anchor apple april arrow aspen autumn badger bamboo barley basin basket beacon beaver birch "
    "bobcat bramble brook bucket cabin cactus candle canoe canvas carrot cedar chalk cherry clover cobalt comet "
    "copper coral cotton cricket crystal cypress daisy dragon drift eagle ember falcon feather fennel fiddle "
    "finch flint forest garnet ginger glacier granite gravel hammer harbor hazel hemlock hickory hollow honey "
    "island ivory jasmine juniper kettle ladder lantern laurel lemon lily linen lobster magnet maple marble "
    "meadow melon mirror morning mustard nettle nickel oak ocean olive onion orchid otter oyster paddle pebble "
    "pepper pine plum pocket poplar prairie quartz quill rabbit raft raven reed ribbon river saddle sage salmon "
    "sand silver spruce sunset tallow thistle thunder timber tulip tundra velvet violet walnut willow winter"
).split()


def sign_in_file() -> Path:
    """Return where the pass phrase is kept, for its owner's eyes only."""
    return Path(settings.DATA_DIR) / "demo_sign_in"


def make_people() -> dict[str, User]:
    """Make the three people where they are missing; returns them by name."""
    people = {}
    for name, role in PEOPLE.items():
        person, is_new = User.objects.get_or_create(username=name)
        if is_new:
            person.set_unusable_password()
            person.save()
            give_role(person, role)
        people[name] = person
    return people


def sign_in_lines() -> list[str]:
    """Return what is printed: who may sign in, with what phrase. Makes the phrase where there is none yet."""
    phrase, is_new = _phrase()
    lines = []
    for name, role in PEOPLE.items():
        person = User.objects.get(username=name)
        if is_new or not person.has_usable_password():
            person.set_password(phrase)
            person.save(update_fields=["password"])
        own = "" if person.check_password(phrase) else " (with a pass phrase of their own)"
        lines.append(f"  {name:6} {role}{own}")
    return [*lines, f"  Pass phrase: {phrase}", f"  It is kept in {sign_in_file()}."]


def _phrase() -> tuple[str, bool]:
    path = sign_in_file()
    if path.is_file() and (kept := path.read_text(encoding="utf-8").strip()):
        return kept, False
    phrase = "-".join(secrets.choice(WORDS) for _ in range(WORDS_A_PHRASE))
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
        file.write(phrase + "\n")
    return phrase, True
