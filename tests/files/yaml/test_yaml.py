"""YAML as text: what is kept as it stands, and every way to be refused."""

import random
import string
import time
from pathlib import Path
from typing import Any

import pytest
import yaml

from verifier.errors import InputError
from verifier.files.faults import Faults
from verifier.files.plan.tree import Mapping, Scalar, Sequence
from verifier.files.read_plan import read_plan
from verifier.files.yaml import read as yaml_read
from verifier.files.yaml.read import read_yaml
from verifier.model.problem import Origin

PARSERS = [yaml.SafeLoader] + ([yaml.CSafeLoader] if hasattr(yaml, "CSafeLoader") else [])


@pytest.fixture(params=PARSERS, ids=lambda p: p.__name__)
def both_parsers(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(yaml_read, "_LOADER", request.param)


@pytest.fixture
def tree(tmp_path: Path, both_parsers: Any) -> Any:  # noqa: ARG001 (it sets the parser)
    def read(text: str) -> Any:
        faults = Faults()
        data = text if isinstance(text, bytes) else text.encode()
        return read_yaml(data, tmp_path / "plan.yaml", faults), faults.problems()

    return read


@pytest.mark.parametrize(
    ("written", "text"),
    [
        ("No", "No"), ("yes", "yes"), ("000123", "000123"), ("0x1F", "0x1F"), ("1e3", "1e3"),
        ("1:30", "1:30"), ("2026-11-20", "2026-11-20"), (".inf", ".inf"), ("12.50", "12.50"),
        ("'null'", "null"), ('"~"', "~"), ("null", None), ("Null", None), ("~", None), ("", None),
        ("''", ""), ("!!str", None),
    ],
)  # fmt: skip
def test_a_value_is_its_source_text(tree: Any, written: str, text: str) -> None:
    root, _ = tree(f"site: {written}\n")
    assert root.items["site"].text == text


def test_names_keep_their_text_too(tree: Any) -> None:
    assert list(tree("No: a\n1.0: b\n'null': c\n")[0].items) == ["No", "1.0", "null"]


def test_places_are_counted_from_one_and_fields_are_spelled_as_paths(tree: Any) -> None:
    root, _ = tree("devices:\n- name: a\n  ports:\n  - {mtu: 1}\n  - mtu: 2\n")
    devices: Any = root.items["devices"]
    assert isinstance(devices, Sequence)
    first: Any = devices.items[0]
    ports = first.items["ports"]
    mtu = ports.items[1].items["mtu"]
    assert (mtu.origin.line, mtu.origin.field) == (5, "devices[0].ports[1].mtu")
    assert str(devices.items[0].origin) == "plan.yaml, line 2, field devices[0]"


def test_an_alias_stands_for_what_its_anchor_holds(tree: Any) -> None:
    root, problems = tree("a: &x {b: 1}\nc: *x\n")
    assert problems == ()
    assert root.items["c"].items["b"] == Scalar("1", quoted=False, origin=_place(1, "a.b"))


def _place(line: int, field: str) -> Any:
    return Origin("plan.yaml", line, field)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("a: 1\nb: 2\na: 3\n", 3, "'a' is written twice: lines 1 and 3"),
        ("x:\n  a: 1\n  a: 2\n", 3, "'a' is written twice: lines 2 and 3"),
        ("a: !!python/object:os.system 1\n", 1, "tag 'tag:yaml.org,2002:python/object:os.system'"),
        ("a: !mine {b: 1}\n", 1, "tag '!mine' is not read"),
        ("a: &d {x: 1}\nb:\n  <<: *d\n", 3, "merging by << is not read"),
        ("? [1, 2]\n: 3\nb: 1\n", 1, "a field's name must be one plain word"),
        ("a: 1\n~: 3\n", 2, "a field's name must be one plain word"),
    ],
)
def test_a_fault_that_allows_going_on(tree: Any, text: str, line: int, words: str) -> None:
    root, problems = tree(text)
    assert isinstance(root, Mapping)
    assert len(problems) == 1
    assert words in problems[0].message
    assert f"line {line}" in str(problems[0].origin)
    assert problems[0].severity == "error"


def test_the_first_of_two_equal_names_counts_and_reading_goes_on(tree: Any) -> None:
    root, _ = tree("a: 1\na: {x: 2}\nb: 3\n")
    assert root.items["a"].text == "1"
    assert root.items["b"].text == "3"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("devices:\n\t- name: a\n", "line 2: is indented by a tab"),
        ("devices:\n  - name: a\n \tx: 1\n", "line 3: is indented by a tab"),
        ("a: b: c\n", "line 1: not YAML: no colon belongs here"),
        ("a: [1, 2\nb: 3\n", "not YAML: a list opened by ["),
        ("a: {x: 1\nb: 3\n", "not YAML: "),
        ("a: 'open\nb: 3\n", "not YAML: a quoted text is not closed"),
        ("a:\n  - 1\n b: 2\n", "line 3: not YAML: the indentation"),
        ("a: @x\n", "line 1: not YAML: no value begins with this character"),
        ("a: \x01\n", "control character"),
        ("a: 1\n---\nb: 2\n", "line 2: a second document begins"),
        ("a: *x\n", "line 1"),
        ("a: &x [*x]\n", "has no finished anchor"),
        ("", "is empty"),
        ("# nothing\n", "is empty"),
        ("~\n", "is empty"),
        ("- a\n- b\n", "is not a plan"),
        ("just words\n", "is not a plan"),
        ("a: " + "[" * 500 + "]" * 500, "nested more than 20 deep"),
        ("- " * 5000 + "a", "nested more than 20 deep"),
        (
            b"a: 1\nb: M\xfcnchen\n",
            "line 2: byte 0xfc at offset 9 is not UTF-8: save the file as UTF",
        ),
        ("a: 1".encode("utf-16"), "is UTF-16"),
    ],
)
def test_what_cannot_be_read_is_refused_in_plain_words(tree: Any, text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        tree(text)
    message = str(caught.value)
    assert words in message.replace("plan.yaml, line", "line").replace("field ", "")
    assert "plan.yaml" in message
    assert len(message) < 400


def test_a_byte_order_mark_is_accepted(tree: Any) -> None:
    assert tree(b"\xef\xbb\xbfa: 1\n")[0].items["a"].text == "1"


def test_faults_found_before_a_syntax_error_are_told_with_it(tree: Any) -> None:
    with pytest.raises(InputError) as caught:
        tree("a: 1\na: 2\nb: 'open\n")
    assert [p.rule for p in caught.value.problems] == ["yaml-field", "yaml-syntax"]


def test_aliases_that_multiply_are_stopped(tree: Any) -> None:
    """Nine aliases of nine aliases, nine times over: 3.5e8 values from 500 bytes."""
    levels = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    levels += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 9)]
    started = time.process_time()
    with pytest.raises(InputError, match="holds more than 3000000 values, aliases"):
        tree("\n".join(levels))
    assert time.process_time() - started < 2


def _lines_of_garbage(size: int, alphabet: str) -> Any:
    chance = random.Random(7)
    line = "".join(chance.choices(alphabet, k=4000)) + "\n"
    return (line * (size // len(line) + 1))[:size]


def test_fifty_megabytes_are_refused_before_they_are_read(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(_lines_of_garbage(50 * 2**20, string.printable))
    started = time.process_time()
    with pytest.raises(InputError, match="50 MB is too big, at most 32 MB are read") as caught:
        read_plan(path)
    assert time.process_time() - started < 1
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize(
    "text",
    [
        _lines_of_garbage(31 * 2**20, string.printable),
        "a: b\n" * (31 * 2**20 // 5),
        "- " + "x, " * (31 * 2**20 // 3),
        "a: [" + "x, " * (31 * 2**20 // 3) + "]",
    ],
    ids=["noise", "one name again and again", "one long word", "one long list"],
)
def test_nonsense_below_the_limit_ends_soon_with_one_message(tmp_path: Path, text: str) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(text)
    started = time.process_time()
    with pytest.raises(InputError) as caught:
        read_plan(path)
    assert time.process_time() - started < 60
    assert len(str(caught.value)) < 300
