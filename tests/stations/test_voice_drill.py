"""Three headsets by voice: the real recogniser at each, the broker killed twice, one of them cut off meanwhile."""

from pathlib import Path

from tests.stations.voice_drill import ROLES, Plan, run

PANELS = Plan(
    texts=(
        "panel one standing", "panel two standing", "say again", "radio check", "panel three standing",
        "panel four standing", "every joint is fastened",
    ),
    start="panel_set", kills=(2, 5), cut_at=0, cut="one", cut_ms=60_000, rest=(4,), bleed=(5,),
)  # fmt: skip
"""Panels one and two are told by the station that is cut off; the others go on; then three and four by the other."""


def test_panels_are_told_by_voice_while_one_headset_is_cut_off_and_the_broker_dies_twice(tmp_path: Path) -> None:
    """Nothing told is lost or doubled, what two microphones heard counts once, the copy has the same digest.

    A question that came late is refused, and asked again.
    """
    found = run(tmp_path, PANELS)
    assert (found.digest, True, True) == (found.copy_digest, found.same_bytes, found.verified)
    for name in ROLES:
        assert list(range(1, found.kept[name] + 1)) == [seq for seq, _words in found.decided[name]]
    words = [heard for _seq, heard in found.decided["one"] if heard]  # nothing is heard when a station reports itself
    assert ["panel one standing", "panel two standing"] == words[:2]
    assert "every joint is fastened" in words
    assert {"panel three standing", "panel four standing"} <= {heard for _seq, heard in found.decided["two"]}
    assert 1 <= found.late
    assert 1 <= found.cut_off_told
    assert [] == found.never_said
    told = [line for line in found.refused if "say again" not in line.split(": ")[1]]
    assert all("another microphone" in line for line in told)
