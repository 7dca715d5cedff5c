"""Places in words, as the record of a tool's defect holds them."""

from qa.wording.findings import MOST_PLACE, on_joint


def test_the_place_of_a_defect_names_whole_stations_and_counts_what_does_not_fit():
    assert on_joint("J-101", ["10", "11", "12", "3"]) == "J-101, stations 10–12, 3"
    labels = [f"hinge-{n:03}" for n in range(1, 31)]
    told = on_joint("J-101", labels)
    assert len(told) <= MOST_PLACE
    named, more = told.removeprefix("J-101, stations ").split(" and ")
    names = named.split(", ")
    assert names == labels[: len(names)]
    assert more == f"{30 - len(names)} more"
    assert on_joint("J" * 20, ["x" * 120]) == "J" * 20
