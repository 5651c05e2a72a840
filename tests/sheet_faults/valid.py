"""A small farm, and one valid sheet of every sort that loads into it."""

from __future__ import annotations

import csv
import datetime as dt
import io

from ponds.kinds_shipped import KINDS_FILE
from ponds.models import Kind, Pond
from ponds.sheets import load, registered_sheets
from stock.models import Turtle

Grid = list[list[str]]

OPENING = """pond,kind,day,females,females plus or minus,males,unsexed,how known
A,slider,2024-01-02,900,20,300,10,from the notebook
B,slider,2024-01-02,400,30,100,0,seined
"""
# Two turtles that the marks sheet is about.
MARKED = """day,pond,kind,class,other mark
2024-02-14,A,slider,female,hole 1
2024-02-15,B,slider,female,hole 2
"""
SHEETS = {
    "ponds": """code,opened on,name,water area,bank area,area unit,head limit,kinds,note
D,2019-03-14,Levee,2.5,0.2,acres,8000,slider,
E,2019-04-15,Old Mill,1.5,,acres,5000,slider cooter,deep at the gate
F,2020-05-16,,,,,,,
G,2021-06-17,North,3,0.5,ha,9000,,
""",
    "stock": """pond,kind,day,females,females plus or minus,males,males plus or minus,unsexed,how known,from,note
A,cooter,2024-01-13,300,20,100,10,,from the notebook,,
B,cooter,2024-01-14,90,,30,,,seined,Bend Hatchery,
C,slider,2024-02-15,,,12,,,a guess,,males only
C,cooter,2024-02-16,0,,,,40,drained,,
""",
    "turtles": """day,pond,kind,class,notch,tag,other mark,site,sex,sex method,certainty,note
2024-03-14,A,slider,female,,985113007399202,,left hind leg,female,foreclaws,probable,
2024-03-15,A,slider,male,,,blue 7,,male,foreclaws,probable,
2024-03-16,B,slider,female,,,white 3,,,,,seen at the bank
""",
    "hauls": """day,pond,haul,method,kind,class,caught,carrying marks,newly marked,dead in net,complete,effort,note
2025-03-14,A,1,seine,slider,female,60,0,5,1,no,4,
2025-03-14,A,1,seine,slider,male,20,0,2,0,no,4,
2025-03-15,B,,traps,slider,female,12,,,,no,,
2025-04-16,B,2,traps,slider,male,5,,,,no,6,rain
""",
    "nests": """dug on,pond,kind,nests,eggs,broken,clutches,note
2025-05-14,A,slider,14,121,3,,
2025-05-15,A,slider,3,27,1,9 8 10 (1),
2025-05-16,B,,2,18,0,,
2025-06-17,B,cooter,5,80,2,,after rain
""",
    "lots": """lot,kind,set on,incubator,temperature,temperature unit,basket,container,pond,dug on,eggs,candled on,\
candled clear,candled dead,hatched on,hatched,hatch clear,hatch dead,nothing left,lot note
s-1,slider,2025-05-14,Room 1,82,F,1,1,A,2025-05-13,18,2025-05-28,2,1,2025-07-18,14,1,,,
s-1,slider,2025-05-14,Room 1,82,F,2,1,A,2025-05-13,20,,,,,,,,,
s-2,slider,2025-05-16,,,,1,,B,2025-05-15,15,2025-05-30,1,0,,,,,,
s-3,cooter,2025-06-17,Room 2,28,C,1,,B,2025-06-16,40,,,,,,,,,late
""",
    "moves": """day,move,pond,kind,class,from,to,heads,becomes,cause,batch,seller or buyer,document,note
2025-03-14,1,A,slider,female,A,B,10,,,,,,
2025-03-14,1,A,slider,male,A,sold,4,,,,Bend Hatchery,bill 12,
2025-04-15,,B,slider,female,bought,B,6,,,P-7,Old Levee,,
2025-05-16,3,A,slider,male,A,died,2,,bites,,,,found at the gate
""",
}


def a_farm() -> None:
    """Make two kinds and three ponds, two of them opened."""
    slider = Kind.objects.create(
        code="slider", common_name="Slider", scientific_name="Trachemys scripta", marginals_a_side=12
    )
    cooter = Kind.objects.create(code="cooter", common_name="Cooter", scientific_name="Pseudemys concinna")
    for code in "ABC":
        Pond.objects.create(code=code, opened_on=dt.date(2020, 1, 1)).kinds_allowed.add(slider, cooter)
    outcome = load(registered_sheets()["stock"], "stock.csv", OPENING.encode())
    if not outcome.is_written:
        raise ValueError(f"The farm's own opening was refused: {outcome.bad_rows}")
    outcome = load(registered_sheets()["turtles"], "turtles.csv", MARKED.encode())
    if not outcome.is_written:
        raise ValueError(f"The farm's own turtles were refused: {outcome.bad_rows}")


def grid_of(what: str) -> Grid:
    """Return the valid sheet as rows of cells, its headings first."""
    if what == "kinds":
        return _kinds()
    if what == "marks":
        return _marks()
    return list(csv.reader(io.StringIO(SHEETS[what])))


def _kinds() -> Grid:
    """Return three shipped kinds under codes and names of their own."""
    headings, *rows = csv.reader(io.StringIO(KINDS_FILE.read_text(encoding="utf-8")))
    code, name, apart = (headings.index(word) for word in ("code", "common name", "not kept with"))
    for number, row in enumerate(rows[:3], start=1):
        row[code], row[name], row[apart] = f"own-kind-{number}", f"Own kind {number}", ""
    return [headings, *rows[:3]]


def _marks() -> Grid:
    """Return marks of the farm's two turtles, which are named by their numbers."""
    one, two = (str(number) for number in Turtle.objects.order_by("pk").values_list("pk", flat=True)[:2])
    return [
        ["mark", "turtle", "code", "site", "conflict", "put on", "what", "day", "note"],
        ["tag", one, "985113007399202", "left hind leg", "no", "2024-03-14", "", "", ""],
        ["other mark", one, "hole 1", "", "no", "2024-02-14", "read", "2024-04-15", ""],
        ["other mark", one, "hole 1", "", "no", "2024-02-14", "lost or failed", "2024-05-16", "grown in"],
        ["paint", two, "white 12", "shell", "no", "2024-06-17", "put on", "2024-06-17", ""],
    ]
