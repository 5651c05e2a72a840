"""The roles, under the name the site uses; they stand in `ponds` so that both apps may import them."""

from ponds.roles import (
    HAND,
    OWNER,
    READER,
    ROLES,
    for_everyone,
    for_hand,
    for_owner,
    give_role,
    make_groups,
    role_of,
)

__all__ = [
    "HAND",
    "OWNER",
    "READER",
    "ROLES",
    "for_everyone",
    "for_hand",
    "for_owner",
    "give_role",
    "make_groups",
    "role_of",
]
