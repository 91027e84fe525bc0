"""Field cards and labels as they come out of a printer: Chromium prints, poppler reads."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
import zxingcpp

import verifier.files
from tests.conftest import FONT_FOLDER
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.cautions import CAUTIONS, CLOSING
from verifier.report.cards import cards_page as page
from verifier.report.cards import code_text
from verifier.report.cards import labels_page as labels
from verifier.rules.cards import Card, cards

pytestmark = [pytest.mark.browser, pytest.mark.poppler, pytest.mark.fonts]

PLAN, _ = read_plan(Path(verifier.files.__file__).parent / "example.yaml")
MADE = cards(PLAN, load_profiles({d.profile for d in PLAN.devices}), PLAN.devices)
A4, A5 = (595, 842), (420, 595)
"""In points: 210 mm by 297 mm, 148 mm by 210 mm (ISO 216)."""


FONTS = {"Liberation Sans": "LiberationSans", "DejaVu Sans": "DejaVuSans"}
"""Families and how their files begin: as narrow as Arial, and the widest that is usual."""
ONLY = """<?xml version="1.0"?>
<!DOCTYPE fontconfig SYSTEM "urn:fontconfig:fonts.dtd">
<fontconfig><dir>{0}/fonts</dir><cachedir>{0}/cache</cachedir></fontconfig>
"""


def only_fonts(family: str, folder: Path) -> dict[str, str]:
    """The environment of a machine that has one family of fonts and no other (fonts-conf(5))."""
    (folder / "fonts").mkdir()
    for style in ("", "-Regular", "-Bold"):
        for file in FONT_FOLDER.glob(f"*/{FONTS[family]}{style}.ttf"):
            (folder / "fonts" / file.name).symlink_to(file)
    assert len(list((folder / "fonts").iterdir())) == 2
    (folder / "fonts.conf").write_text(ONLY.format(folder), "utf-8")
    return {**os.environ, "FONTCONFIG_FILE": str(folder / "fonts.conf")}


def printed(html: str, folder: Path, family: str) -> Path:
    """The page as PDF, printed where only those fonts are."""
    source, pdf = folder / "page.html", folder / "page.pdf"
    source.write_text(html, "utf-8")
    words = (
        "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
        f"--user-data-dir={folder / 'browser'}", "--no-pdf-header-footer",
        f"--print-to-pdf={pdf}", source.as_uri(),
    )  # fmt: skip
    browser = shutil.which("chromium") or "chromium"
    environment = only_fonts(family, folder)
    subprocess.run([browser, *words], check=True, capture_output=True, timeout=120, env=environment)
    used = poppler("pdffonts", pdf).decode().splitlines()[2:]
    assert used
    assert all(FONTS[family] in line for line in used), used
    return pdf


def poppler(program: str, pdf: Path, *words: str) -> bytes:
    """What one of poppler's programs says of it."""
    return subprocess.run(
        [program, *words, str(pdf), *(["-"] if program == "pdftotext" else [])],
        check=True, capture_output=True, timeout=60,
    ).stdout  # fmt: skip


def about(pdf: Path) -> tuple[int, tuple[int, int]]:
    """Number of pages, and their size in points."""
    said = poppler("pdfinfo", pdf).decode()
    pages = re.search(r"Pages: +(\d+)", said)
    size = re.search(r"Page size: +([\d.]+) x ([\d.]+)", said)
    assert pages is not None
    assert size is not None
    return int(pages[1]), (round(float(size[1])), round(float(size[2])))


def pictures(pdf: Path) -> list[tuple[bytes, int, int, int]]:
    """Each page in colour, 150 dots an inch: samples, width, height, octets a dot (netpbm P6)."""
    data, found = poppler("pdftoppm", pdf, "-r", "150"), []
    while data:
        head = re.match(rb"P6\s+(\d+)\s+(\d+)\s+255\s", data)
        assert head is not None
        width, height = int(head[1]), int(head[2])
        end = head.end() + width * height * 3
        found.append((data[head.end() : end], width, height, 3))
        data = data[end:]
    return found


@pytest.fixture(scope="module", params=FONTS)
def cards_pdf(request, tmp_path_factory) -> Path:
    return printed(page(MADE, qr=True), tmp_path_factory.mktemp("cards"), request.param)


@pytest.fixture(scope="module", params=FONTS)
def labels_pdf(request, tmp_path_factory) -> Path:
    return printed(labels(MADE, qr=True), tmp_path_factory.mktemp("labels"), request.param)


def test_two_sides_of_a5_a_device(cards_pdf) -> None:
    """One sheet a device, which begins with its label, whatever fonts there are."""
    assert about(cards_pdf) == (2 * len(MADE), A5)
    text = poppler("pdftotext", cards_pdf, "-layout").decode()
    sides = text.split("\f")[:-1]
    assert [side.split("\n")[0].split("   ")[0].strip() for side in sides[::2]] == [
        card.label for card in MADE
    ]
    assert all(card.device in side for card, side in zip(MADE, sides[1::2], strict=True))


def test_all_of_a_card_is_on_paper(cards_pdf) -> None:
    """Every value, every note, every sentence, every caution of every device."""
    text = poppler("pdftotext", cards_pdf, "-raw").decode()
    flat = re.sub(r"\s+", "", text)
    for card in MADE:
        for section in card.sections:
            said = [w for r in section.rows for w in (r.what, r.value, r.note)]
            for words in (*said, *section.rules):
                assert re.sub(r"\s+", "", words) in flat, words
    for caution in CAUTIONS:
        assert flat.count(re.sub(r"\s+", "", caution.text)) == len(MADE)
    assert text.count(CLOSING) == len(MADE)


def test_black_and_white(cards_pdf) -> None:
    """No dot has a colour: what a printer without colours prints is what is seen."""
    for samples, *_ in pictures(cards_pdf)[:2]:
        assert samples[0::3] == samples[1::3] == samples[2::3]
        assert 0.01 < sum(s < 128 for s in samples[::3]) / len(samples[::3]) < 0.25


def codes(pdf: Path) -> list[str]:
    """What the QR codes on all pages say, by a reader that nobody here wrote."""
    found = []
    for samples, width, height, dot in pictures(pdf):
        grey = memoryview(samples[::dot]).cast("B", shape=[height, width])
        found += [code.text for code in zxingcpp.read_barcodes(grey)]
    return found


def test_labels(labels_pdf) -> None:
    """All on one sheet of A4 with their texts."""
    assert about(labels_pdf) == (1, A4)
    flat = re.sub(r"\s+", "", poppler("pdftotext", labels_pdf, "-raw").decode())
    for card in MADE:
        for words in (card.label, card.device, card.address):
            assert re.sub(r"\s+", "", words) in flat


def test_codes_are_read(cards_pdf, labels_pdf) -> None:
    """Each code gives name and address of its device."""
    wanted = sorted(code_text(card) for card in MADE)
    assert sorted(codes(cards_pdf)) == sorted(codes(labels_pdf)) == wanted
    assert "lighthouse-quarry\n198.18.20.11/24" in wanted


def test_a_hostile_name_is_text() -> None:
    """Nothing of a name becomes a part of the page, nor of the code's picture."""
    evil = '</title><script>alert(1)</script>"&\x1b'
    card = Card(device=evil, label=evil, site=evil, address=evil, plan=evil, far=(evil,))
    for drawn in (page([card], qr=True), labels([card], qr=True)):
        assert "<script" not in drawn
        assert "\x1b" not in drawn
