"""The shop floor of the demo: tools, materials and pulls of an invented shop.

Everything is made up, and loaded through the same actions that people use. Times are
counted back from now, so that Today has something to say whenever the demo starts.
"""

from shop.models import Part, PartDesign, Person, Position

from . import arms, back_room, pulls, stock, tools


def load_floor(
    people: dict[str, Person], designs: dict[str, PartDesign]
) -> dict[str, Part]:
    """Fill the floor; return the parts that came out of molds, by their serial.

    people: bea and tomas build, lena leads, emil engineers, ines inspects.
    designs: by part number (MG-1210 ...).
    """
    shelf = stock.load(people, designs)
    molds = tools.load(people, designs, shelf)
    return pulls.load(people, designs, shelf, molds)


def load_doubts(people: dict[str, Person]) -> None:
    """A lot of core turns out wrong after its hatch was fitted: who decides?"""
    stock.doubt(people)


def load_arms(people: dict[str, Person], positions: dict[str, Position]) -> None:
    """Say where the weight of each position acts."""
    arms.load(people, positions)


def load_back_room(people: dict[str, Person], designs: dict[str, PartDesign]) -> None:
    """What was retired, lent, used up, taken back, given up or decided."""
    back_room.load(people, designs)
