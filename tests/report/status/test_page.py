"""The status page as text: the order of its parts, what it says, what it does not let through."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import html
import re
from typing import Any

import pytest

from tests.report.status import examples as paging
from verifier.model.history import Sample
from verifier.model.status import LevelLine, Recent, Status
from verifier.report.status.drawing import LEVEL_HEIGHT as HEIGHT
from verifier.report.status.drawing import LEVEL_WIDTH as WIDTH
from verifier.report.status.drawing import drawing, level_row
from verifier.report.status.page import page, refresh_s
from verifier.rules.status import status

PARTS = ('<p id="age"', 'class="counts"', 'id="changed"', 'id="roots"', 'id="drawing"', 'id="everything"')  # fmt: skip
EVIL_TAGS = re.compile(r"<(img|script)", re.IGNORECASE)
HIDDEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


@pytest.fixture(scope="module")
def ring() -> str:
    return page(paging.ring())


def words_of(drawn: str) -> str:
    """What a person reads, without style and script."""
    bare = re.sub(r"<(style|script)>.*?</\1>", "", drawn, flags=re.DOTALL)
    text = re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", bare)))
    return re.sub(r" ([,.])", r"\1", text)


@pytest.mark.parametrize(
    "made",
    [paging.ring, paging.calm, paging.empty, paging.hostile, lambda: paging.many(40)],
    ids=["ring", "calm", "empty", "hostile", "many"],
)
def test_the_order_of_the_parts(made: Any) -> None:
    """What changed, then roots, then the drawing, then everything; each once."""
    drawn = page(made())
    places = [drawn.index(part) for part in PARTS]
    assert places == sorted(places)
    assert [drawn.count(part) for part in PARTS] == [1] * len(PARTS)


@pytest.mark.parametrize(
    "said",
    [
        "Link plan, revision 3 : status by sweep 4711",
        "Swept 2026-11-24 10:00:00 UTC, the next one is due at 10:05:00",
        "5 silent 3 devices, 2 links",
        "13 devices and 6 links swept in 1.5 s. 1 sweep before this one left out",
        "1 was seen in another state, not often enough to count.",
        "09:55 lighthouse-ferry-point sound → silent",
        "With it: 2 silent",
        "09:55 Hop 2 impaired → sound",
        "09:10 windmill-old-mill sound → silent not told: mast work",
        "23 Nov 20:06 Hop 2 sound → impaired",
        "49 more changes: see the record.",
        "silent lighthouse-ferry-point since 09:55, 5 min echo.reply none of 3 echoes",
        "Try first: look whether the device has power",
        "2 hang on it: 2 silent",
        "sound quarry-harbour since 09:50, 10 min seen silent once, counts when seen again",
        "mast work 08:00 to 16:00, Windmill Holds telling of 2: 2 silent",
        "untested 1 device or link identity.name: the plan has no entry for SNMP",
        "By coordinates, north is up",
        "harbour-lighthouse sound 21 Nov 10:00 1.25 ms 0 %",
        "Hop 4 to Quarry impaired 07:55",
        "-53.7 dBm planned -45.8, -7.9 dB",
        "Links that stand with their other end: Hop 1 ( Harbour )",
    ],
)
def test_what_it_says(said: str, ring: str) -> None:
    """Every state in words: colour and marks are only added to them."""
    assert said in words_of(ring)


def test_nothing_to_tell() -> None:
    """Then it says so, in few words."""
    said = words_of(page(paging.calm()))
    assert "What changed Nothing in this sweep. In the 24 hours before Nothing." in said
    assert "by root 13 of 13 devices and 6 of 6 links are sound." in said
    assert "Maintenance now" not in said
    assert "Nothing was swept." in words_of(page(paging.empty()))
    assert said.count("The plan has no site and no device.") == 0
    assert words_of(page(paging.empty())).count("The plan has no site and no device.") == 2


def test_hostile_words_stay_words() -> None:
    """No tag, no control, no mark of direction comes through, and nothing is lost of them."""
    drawn = page(paging.hostile())
    assert [m for m in EVIL_TAGS.findall(drawn) if m != "script"] == []
    assert drawn.count("<script>") == 1
    assert HIDDEN.search(drawn) is None
    assert '"&gt;' not in drawn  # quotes are escaped too
    assert r"&lt;script&gt;alert(1)&lt;/script&gt;\x1b[2J\u202e" in drawn
    assert "Q" * 300 in drawn


def test_it_allows_its_own_style_and_script_and_nothing_else(ring: str) -> None:
    """The policy has the hash of each; no address stands anywhere that a browser would fetch."""
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', ring)
    assert policy.startswith("default-src 'none'; img-src data:; ")
    for kind in ("style", "script"):
        (text,) = re.findall(rf"<{kind}>(.*?)</{kind}>", ring, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    assert "unsafe" not in policy
    assert " style=" not in ring
    assert " on" not in re.sub(
        r">[^<]*<", "><", ring.partition("<body>")[2].partition("<script>")[0]
    )
    assert re.findall(r'(?:src|href)="(?!#|data:,)[^"]*"', ring) == []


@pytest.mark.parametrize(
    ("every_s", "seconds"),
    [(None, None), (1.0, 5), (30.0, 6), (120.0, 24), (300.0, 60), (86_400.0, 60)],
)
def test_it_looks_for_a_newer_one_while_there_is_a_series(
    every_s: float | None, seconds: int | None
) -> None:
    """A fifth of the interval, from 5 to 60 s; the page of a single sweep stands still."""
    assert refresh_s(every_s) == seconds
    drawn = page(paging.ring(every_s))
    found = re.findall(r'<meta http-equiv="refresh" content="(\d+)">', drawn)
    assert found == ([] if seconds is None else [str(seconds)])
    assert ("the next one is due" in drawn) is (seconds is not None)


def test_the_same_values_give_the_same_page() -> None:
    assert page(paging.many(60)) == page(paging.many(60))


def test_many_roots_are_shown_and_none_is_lost() -> None:
    """Of 50 roots 24 stand open, the others folded; each device that is silent stands in both."""
    drawn = page(paging.many(1000))
    roots = drawn[drawn.index('id="roots"') : drawn.index('id="drawing"')]
    assert "26 more roots" in roots
    silent = [d.name for d in paging.many_plan(1000).devices[7::20]]
    assert len(silent) == 50
    assert [name for name in silent if f"<b><bdi>{name}</bdi></b>" not in roots] == []
    assert roots.count("hangs on it") == 50
    assert len(drawn.encode()) < 2_500_000


def test_a_network_that_is_silent_as_a_whole() -> None:
    """Every device and link, and no place that is sound; the page says so as ever."""
    plan = paging.many_plan(200)
    made = status(plan, paging.many_report(plan, silent_each=1), Recent(), every_s=60.0, confirm=2)
    assert (made.counts["silent"], made.counts["sound"]) == ((200, 100), (0, 0))
    said = words_of(page(made))
    assert "300 silent 200 devices, 100 links" in said
    assert "0 sound 0 devices, 0 links" in said
    assert f"{200 - 24} more roots" in said


# --- the drawing -------------------------------------------------------------------------------


@pytest.mark.parametrize("subjects", [2, 40, 200, 1000])
@pytest.mark.parametrize("located", [True, False])
def test_names_have_room_or_are_left_out_and_counted(subjects: int, located: bool) -> None:  # noqa: FBT001
    """No name is laid on another or on a mark, none leaves the drawing; it says how many miss."""
    made = paging.many(subjects, located=located)
    drawn = drawing(made)
    for size, per_letter in (("wide", 17.0 * 0.5), ("narrow", 33.0 * 0.5)):
        labels = drawn["labels"][size]
        assert len(labels) + drawn["left_out"][size] == len(made.map_nodes)
        assert labels
        for n, one in enumerate(labels):
            assert 0 <= one["x"] <= drawn["width"]
            assert 0 <= one["y"] <= drawn["height"]
            for other in labels[n + 1 :]:
                if one["anchor"] == other["anchor"] and abs(one["y"] - other["y"]) < per_letter:
                    wide = min(len(one["text"]), len(other["text"])) * per_letter
                    assert abs(one["x"] - other["x"]) > wide * 0.6
    out = drawn["left_out"]["wide"]
    assert (f"{out} of {len(made.map_nodes)} names have no room here" in page(made)) is (out > 0)


def test_all_names_of_a_small_network_are_drawn() -> None:
    drawn = drawing(paging.ring())
    assert drawn["left_out"] == {"wide": 0, "narrow": 0}
    assert {x["text"] for x in drawn["labels"]["wide"]} == {
        "Lighthouse 1/3", "Quarry", "Harbour 1/3", "Windmill 1/2", "Old Mill", "Ferry Point",
    }  # fmt: skip


def test_states_of_links_differ_without_colour() -> None:
    """Each state has dashes of its own; the style sheet says so, and a silent one is cut through."""
    drawn = page(paging.ring())
    dashes = re.findall(r"\.net \.hop\.(\w+) \{[^}]*stroke-dasharray: ([\d. ]+)", drawn)
    assert {state for state, _ in dashes} == {"silent", "impaired", "unsteady", "untested"}
    assert len({dash for _, dash in dashes}) == 4
    assert drawn.count('class="cut"') == 2 + 1  # two links, one sample


def test_several_links_of_two_sites_are_told_apart() -> None:
    """Each has a path of its own."""
    plan = paging.ring_plan()
    again = dataclasses.replace(plan.links[0], name="Hop 1 again")
    made = paging.ring()
    line = next(x for x in made.lines if x.name == "Hop 1")
    twice = dataclasses.replace(
        made, lines=(*made.lines, dataclasses.replace(line, name=again.name))
    )
    paths = [str(x["path"]) for x in drawing(twice)["lines"]]
    assert len(set(paths)) == len(paths) == 7


def mixed() -> Status:
    made = paging.ring()
    return dataclasses.replace(made, layout=dataclasses.replace(made.layout, by="both"))


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: paging.ring(located=False), "No site has coordinates: layers by hops"),
        (paging.ring, "By coordinates, north is up; sites too near"),
        (mixed, "places without any are below"),
    ],
)
def test_it_says_what_the_drawing_follows(make: Any, said: str) -> None:
    assert said in words_of(page(make()))


# --- level lines -------------------------------------------------------------------------------


def line(samples: tuple[Sample, ...], **more: Any) -> Any:
    values: dict[str, Any] = {"carrier": 1, "end": "a", "device": "x", "now_dbm": None,
                              "planned_dbm": None, "samples": samples, **more}  # fmt: skip
    return level_row(LevelLine(**values), paging.NOW_S, 300.0)


def points(path: str) -> list[tuple[int, int]]:
    return [(int(x), int(y)) for x, y in re.findall(r"(\d+) (\d+)", path)]


def test_a_level_line_lies_in_its_frame() -> None:
    row = line(paging.day(-45.0), planned_dbm=-20.0, now_dbm=-45.04)
    for x, y in points(row["middle"]) + points(row["band"]):
        assert 0 <= x <= WIDTH
        assert 0 <= y <= HEIGHT
    assert row["planned_y"] < min(y for _, y in points(row["middle"]))
    assert (row["now"], row["planned"], row["away"]) == ("-45.0", "-20.0", "-25.0 dB")


def test_a_gap_breaks_the_line() -> None:
    """Hours without a level are no line: nothing is drawn across them."""
    whole, gap = (
        paging.day(-45.0),
        tuple(s for n, s in enumerate(paging.day(-45.0)) if not 5 < n < 9),
    )
    assert (line(whole)["middle"].count("M"), line(gap)["middle"].count("M")) == (1, 2)


def test_a_still_level_is_flat_and_a_fade_is_deep() -> None:
    """Less than 6 dB is not blown up; the lowest of a short fade is in the band."""
    ys = {y for _, y in points(line(tuple(Sample(paging.NOW_S - n, v, v, v) for n, v in ((900, -45.0), (0, -45.5))))["middle"])}  # fmt: skip
    assert max(ys) - min(ys) <= 2
    faded = line((Sample(paging.NOW_S - 3600.0, -70.0, -45.0, -45.0, 12), *paging.day(-45.0)[-1:]))
    assert max(y for _, y in points(faded["band"])) == HEIGHT - 3
    assert faded["low"] == "-70.0"


@pytest.mark.parametrize("age_s", [0.0, 80_000.0])
def test_a_lone_level_is_a_dot(age_s: float) -> None:
    row = line((Sample(paging.NOW_S - age_s, -45.0, -45.0, -45.0),))
    assert row["middle"].endswith("h0")
    assert row["band"] == ""


def test_a_lone_hour_has_its_lowest_and_highest() -> None:
    """A bar one device wide beside the dot."""
    row = line((Sample(paging.NOW_S - 7200.0, -60.0, -46.0, -45.0, 12),))
    assert row["band"] == f"M110 {HEIGHT - 3}V3h1V{HEIGHT - 3}Z"
    assert row["middle"].endswith("h0")


def test_no_level_is_said() -> None:
    assert line((), planned_dbm=-45.0)["middle"] is None
    assert "no level in 24 hours" in page(paging.ring())


@pytest.mark.parametrize(
    ("confirm", "said"),
    [
        (1, "A change counts when a sweep saw it"),
        (3, "A change counts when 3 sweeps in a row saw it"),
    ],
)
def test_it_says_when_a_change_counts(confirm: int, said: str) -> None:
    """As it was asked for."""
    plan = paging.ring_plan()
    made = status(
        plan, paging.ring_report(plan), paging.ring_recent(), every_s=300.0, confirm=confirm
    )
    assert said in page(made)
