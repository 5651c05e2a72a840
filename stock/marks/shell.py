"""A shell seen from above with its notches, as SVG text.

Head up: the animal's right is on the right. A notched scute has a triangle cut from its rim, a hatch, and a bold
number; a doubtful one is dashed with a question mark; a scute that the scheme does not notch is dotted and grey; one
that the animal lacks is crossed out. Nothing is colored here: marks carry classes, the stylesheet draws them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from html import escape

from ponds.svg_marks import anchor, path, text
from stock.marks.codes import place_mask
from stock.marks.positions import bit_of, in_words, position_at, split_position
from stock.marks.scheme import Scheme

WIDTH, HEIGHT = 320, 360
ACROSS, DOWN = WIDTH / 2, 180.0  # the middle
RADIUS_ACROSS, RADIUS_DOWN = 128.0, 150.0
RIM = 34.0  # how deep a marginal scute is
NUCHAL = 0.20  # half the angle the nuchal scute takes, in radians
CUT, CUT_WIDE = 17.0, 0.42  # how deep a notch is drawn, and its half width as a share of the scute's
OUTSIDE = 13.0  # how far outside the rim a letter stands
STEEP = 0.35  # less than this sideways a letter stands above or below the rim, not beside it
Point = tuple[float, float]


def draw_shell(
    scheme: Scheme,
    positions: Iterable[str] = (),
    *,
    doubtful: Iterable[str] = (),
    missing: Iterable[str] = (),
    code: str = "",
    name: str = "",
    links: Mapping[str, str] | None = None,
) -> str:
    """
    Draw a shell and its notches.

    Parameters
    ----------
    scheme : Scheme
        Gives the number of marginals, which scutes are notched at all, and their letters.
    positions : iterable of str
        The notched scutes: places, or letters. Also such as the scheme does not notch, where they are there.
    doubtful, missing : iterable of str
        Scutes where a notch is faint or not to be read; scutes the animal lacks.
    code : str
        The code, for the title; "" where there is none yet.
    name : str
        Whose shell it is, such as the turtle's code.
    links : mapping of str to str, optional
        An address for scutes that can be tapped, by place; a form that works without a script needs nothing else.

    Returns
    -------
    str
        One ``svg`` element with a title and a description; every word escaped. It reads as one picture, or, with
        links, as a group of them.

    Raises
    ------
    ValueError
        If a scute is neither a place nor a letter of the scheme, or a side would need more marginals than are drawn.
    """
    cut, unsure = place_mask(scheme, positions), place_mask(scheme, doubtful)
    absent, tapped = place_mask(scheme, missing), {bit_of(place): to for place, to in (links or {}).items()}
    states = (("notched", cut), ("doubtful", unsure), ("missing", absent), ("open", scheme.usable_mask))
    marginals = max([scheme.marginals, *(int(place[1:]) for place in _places(cut | unsure | absent))])
    title, description = shell_words(
        scheme, _places(cut), _places(unsure & ~cut), _places(absent & ~cut & ~unsure), code=code, name=name
    )
    key = anchor(f"{title}{description}{sorted(tapped.values())}")
    body = [_defs(key), _inside(), _nuchal()]
    for side in ("R", "L"):
        for at in range(1, marginals + 1):
            bit = bit_of(f"{side}{at}")
            state = next((state for state, mask in states if mask >> bit & 1), "closed")
            drawn = _scute(scheme, bit, marginals, state, key)
            if bit in tapped:
                told = f"{in_words([position_at(bit)]).capitalize()}, {_STATES[state]}"
                drawn = f'<a href="{escape(tapped[bit])}" aria-label="{escape(told)}">{drawn}</a>'
            body.append(drawn)
    body += [text(10, 26, "left", "side"), text(WIDTH - 10, 26, "right", "side end"), _head()]
    role = "group" if tapped else "img"
    return (
        f'<svg class="shell" viewBox="0 0 {WIDTH} {HEIGHT}" role="{role}" aria-labelledby="{key}t {key}d">'
        f'<title id="{key}t">{escape(title)}</title><desc id="{key}d">{escape(description)}</desc>'
        f"{''.join(body)}</svg>"
    )


_STATES = {
    "notched": "notched",
    "doubtful": "doubtful",
    "missing": "not there",
    "open": "not notched",
    "closed": "not part of the scheme",
}


def shell_words(
    scheme: Scheme,
    positions: Iterable[str],
    doubtful: Iterable[str] = (),
    missing: Iterable[str] = (),
    *,
    code: str = "",
    name: str = "",
) -> tuple[str, str]:
    """
    Say in words what the drawing shows: its title and its description.

    Raises
    ------
    ValueError
        If one is not a place on the rim.
    """
    whose = f"Shell of {name}" if name else "Shell"
    title = f"{whose}, code {code}" if code else whose
    sentences = [
        "Seen from above, head up; right and left are the animal's own.",
        f"Notched: {in_words(positions)}.",
    ]
    for word, places in (("Doubtful", tuple(doubtful)), ("Not there", tuple(missing))):
        if places:
            sentences.append(f"{word}: {in_words(places)}.")
    if scheme.style == "letters" and code:
        sentences.append(f"In letters: {' '.join(code)}.")
    return title, " ".join(sentences)


def _places(mask: int) -> tuple[str, ...]:
    return tuple(position_at(bit) for bit in range(mask.bit_length()) if mask >> bit & 1)


def _at(angle: float, inward: float = 0.0) -> Point:
    """Return the point at an angle from the head, clockwise, so far inside the rim."""
    return (
        ACROSS + (RADIUS_ACROSS - inward) * math.sin(angle),
        DOWN - (RADIUS_DOWN - inward) * math.cos(angle),
    )


def _angles(bit: int, marginals: int) -> tuple[float, float]:
    """Return where a marginal begins and ends; the right side runs clockwise from the nuchal, the left against it."""
    side, at = split_position(position_at(bit))
    step = (math.pi - NUCHAL) / marginals
    turn = 1 if side == "R" else -1
    return turn * (NUCHAL + (at - 1) * step), turn * (NUCHAL + at * step)


def _between(angles: tuple[float, float], share: float) -> float:
    return angles[0] + (angles[1] - angles[0]) * share


def _line(points: Iterable[Point]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _outline(angles: tuple[float, float], notch: list[Point]) -> str:
    """Return the outline of a marginal, round by short straight pieces, with the notch in its outer edge."""
    outer = [_at(_between(angles, step / 6)) for step in range(7)]
    if notch:
        low, high = 0.5 - CUT_WIDE / 2, 0.5 + CUT_WIDE / 2
        before = [_at(_between(angles, share)) for share in (0, low / 2)]
        after = [_at(_between(angles, share)) for share in ((1 + high) / 2, 1)]
        outer = [*before, *notch, *after]
    inner = [_at(_between(angles, step / 6), RIM) for step in range(6, -1, -1)]
    return f"{_line([*outer, *inner])}Z"


def _scute(scheme: Scheme, bit: int, marginals: int, state: str, key: str) -> str:
    angles = _angles(bit, marginals)
    middle = _between(angles, 0.5)
    place, row = position_at(bit), scheme.row_at.get(bit)
    notch: list[Point] = []
    if state == "notched":
        edges = (_between(angles, 0.5 - CUT_WIDE / 2), _between(angles, 0.5 + CUT_WIDE / 2))
        notch = [_at(edges[0]), _at(middle, CUT), _at(edges[1])]
    outline = _outline(angles, notch)
    marks = [path("scute", outline)]
    if state == "notched":
        marks.append(f'<path class="worked" d="{outline}" fill="url(#{key}h)"/>')
        marks.append(path("cut", f"{_line(notch)}Z"))
    if state == "missing":
        corners = (_at(angles[0], 4), _at(angles[1], RIM - 4), _at(angles[1], 4), _at(angles[0], RIM - 4))
        marks.append(path("cross", _line(corners[:2]) + _line(corners[2:])))
    inside = RIM - 9.5 if state == "notched" else RIM / 2
    x, y = _at(middle, inside)
    if state != "missing":
        marks.append(text(x, y + 4.2, place[1:] + ("?" if state == "doubtful" else ""), "number mid"))
    if row is not None and row.symbol and row.usable and _has_symbols(scheme):
        marks.append(_symbol(row.symbol, middle))
    return f'<g class="marginal {state}" data-position="{place}">{"".join(marks)}</g>'


def _has_symbols(scheme: Scheme) -> bool:
    """Say whether a scheme calls any scute other than by its marginal's number."""
    return any(row.symbol != row.position[1:] for row in scheme.rows if row.usable)


def _symbol(symbol: str, angle: float) -> str:
    """Write a scute's letter or value outside the rim, running away from it at the sides."""
    sideways = math.sin(angle)
    if abs(sideways) < STEEP:
        x, y = _at(angle, -OUTSIDE)
        return text(x, y + 4.5, symbol, "symbol mid")
    x, y = _at(angle, -OUTSIDE / 2)
    return text(x, y + 4.5, symbol, "symbol" if sideways > 0 else "symbol end")


def _defs(key: str) -> str:
    size = 'width="5" height="5" patternUnits="userSpaceOnUse"'
    return f'<defs><pattern id="{key}h" {size}><path class="stripe" d="M-1 6L6-1"/></pattern></defs>'


def _nuchal() -> str:
    angles = (-NUCHAL, NUCHAL)
    x, y = _at(0, RIM / 2)
    return f'<g class="nuchal">{path("scute", _outline(angles, []))}{text(x, y + 4.2, "0", "number mid")}</g>'


def _inside() -> str:
    """Draw the five scutes of the spine and the four to each side, which carry no mark."""
    wide, deep = RADIUS_ACROSS - RIM, RADIUS_DOWN - RIM
    rows = [DOWN - deep + 2 * deep * share for share in (0.0, 0.19, 0.4, 0.61, 0.81, 1.0)]
    half = (14, 25, 30, 30, 24, 12)
    rim = [_at(2 * math.pi * step / 48, RIM) for step in range(48)]
    lines = [f"{_line(rim)}Z"]
    for turn in (-1, 1):
        lines.append(_line((ACROSS + turn * half[at], rows[at]) for at in range(len(rows))))
        for at in (1, 2, 3, 4):
            angle = math.acos((DOWN - rows[at]) / deep)
            lines.append(
                _line(
                    [(ACROSS + turn * half[at], rows[at]), (ACROSS + turn * wide * math.sin(angle), rows[at])]
                )
            )
    lines += [_line([(ACROSS - half[at], rows[at]), (ACROSS + half[at], rows[at])]) for at in (1, 2, 3, 4)]
    return path("inside", "".join(lines))


def _head() -> str:
    """Draw a small arrow that says where the head is."""
    return path("head", f"M{ACROSS:.0f} 4L{ACROSS + 7:.0f} 15H{ACROSS - 7:.0f}Z")
