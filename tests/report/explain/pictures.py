"""The pictures of README, drawn by the program from the demo's network and the example plan.

Usage: python -m tests.report.explain.pictures    (writes them anew)
"""

from __future__ import annotations

import html
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import verifier
from tests.command import command
from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.simulator.coast import free_port, write_files
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

FOLDER = Path(verifier.__file__).parent / "explain/pictures"
NETWORK = ("swapped-hop", "status")
"""Those that need the simulated network."""
STYLES = Path(verifier.__file__).parent / "report/html/templates"
ASK = ("--profiles", "profiles", "--credentials", "credentials.toml", "--echoes", "1")
MOVED = ("lighthouse-quarry", "quarry-lighthouse", "quarry-harbour")
"""They go to another subnet."""
FAULTS = (
    PlantedFault(kind="swapped-ends", link="Hop 2"),
    PlantedFault(kind="muted", device="harbour-ferry"),
)


def offline(folder: Path) -> dict[str, str]:
    """Runbook and card, of the example plan."""
    done(folder, "new", "example.yaml", "--example")
    moves = [f"{name}=198.18.40.{n}/24,198.18.40.1" for n, name in enumerate(MOVED, start=11)]
    words = [word for move in moves for word in ("--change", move)]
    done(folder, "readdress", "example.yaml", "--segment", *words, "--out", "runbook.html")
    card = done(folder, "cards", "example.yaml", "--device", "lighthouse-quarry")
    (drawing,) = drawings((folder / "runbook.html").read_text("utf-8"), "")
    return {
        "runbook": whole(drawing, "runbook.css"),
        "card": screen(card.split("\nCAUTIONS")[0].splitlines()[1:46]),
    }


def of_network(folder: Path) -> dict[str, str]:
    """A hop whose ends are exchanged, and the status of sites and links, of the simulated network."""
    with coast(folder) as network:
        for fault in FAULTS:
            network.put(fault)
        done(folder, "verify", "plan.yaml", *ASK, "--link", "Hop 2", "--out", "hop.html", code=1)
        for _ in range(2):  # a state counts when two sweeps saw it
            done(folder, "sweep", "plan.yaml", *ASK, "--page", "page", code=1)
    (hop,) = drawings((folder / "hop.html").read_text("utf-8"), "picture")
    status = (folder / "page/index.html").read_text("utf-8")
    marks = "".join(re.findall(r"<symbol.*?</symbol>", status))
    net = drawings(status, "net")[0].replace("<title", f"<defs>{marks}</defs><title", 1)
    return {"swapped-hop": whole(hop, "report.css"), "status": whole(net, "status.css")}


def drawings(page: str, kind: str) -> list[str]:
    """The drawings of a page of a class, as they stand in it."""
    start = rf'<svg class="{kind}[ "]' if kind else "<svg viewBox"
    found = re.findall(rf"{start}.*?</svg>", page, re.DOTALL)
    return [drawing for drawing in found if "sample" not in drawing[:40]]


def whole(drawing: str, style: str) -> str:
    """A drawing as a file of its own: with its name space, size, paper and style."""
    width, height = re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', drawing)[0]
    head, rest = drawing.split(">", 1)
    head = re.sub(r' (width|height)="[^"]*"', "", head)
    css = (STYLES / style).read_text("utf-8").replace("body {", ".body {")
    paper = f'<rect width="{width}" height="{height}" fill="var(--sheet, #fff)"/>'
    return (
        f'{head} xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}">'
        f"<style>{html.escape(used(css, drawing), quote=False)}</style>{paper}{rest}\n"
    )


def used(css: str, drawing: str) -> str:
    """The rules of a style sheet that a drawing uses: of its classes, of svg, and the colours."""
    classes = {c for found in re.findall(r'class="([^"]*)"', drawing) for c in found.split()}
    kept = []
    for rule in re.findall(r"[^{}]+\{(?:[^{}]|\{[^{}]*\})*\}", css):
        selector = rule.partition("{")[0]
        named = set(re.findall(r"\.([\w-]+)", selector))
        if "print" in selector or "max-width" in selector or "min-width" in selector:
            continue
        if ":root" in selector or "dark" in selector or (named and named <= classes) or (
            not named and selector.strip().startswith("svg")
        ):  # fmt: skip
            kept.append(" ".join(rule.split()))
    return "\n".join(["svg { font-family: 'Liberation Sans', Arial, sans-serif; }", *kept])


def screen(lines: list[str]) -> str:
    """Lines of a terminal or a paper as a drawing, in letters of one width."""
    width, height = 9 * max(map(len, lines)) + 40, 20 * len(lines) + 40
    texts = "".join(
        f'<text x="20" y="{36 + 20 * n}">{html.escape(line)}</text>\n'
        for n, line in enumerate(lines) if line.strip()
    )  # fmt: skip
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" role="img" aria-label="{html.escape(lines[0].strip())}">'
        "<style>text { font: 14.6px 'DejaVu Sans Mono', monospace; white-space: pre; "
        "fill: #1d2733; } .paper { fill: #fff; stroke: #1d2733; }</style>"
        f'<rect class="paper" x=".5" y=".5" width="{width - 1}" height="{height - 1}"/>\n'
        f"{texts}</svg>\n"
    )


@contextmanager
def coast(folder: Path) -> Iterator[SimulatedNetwork]:
    """The demo's network, running; its files in the folder."""
    write_files(folder, free_port())
    plan, _ = read_plan(folder / "plan.yaml")
    profiles = load_profiles({d.profile for d in plan.devices}, folder / "profiles")
    entries = {d.snmp for d in plan.devices if d.snmp is not None}
    keys = load_credentials(entries, folder / "credentials.toml", {})
    network = SimulatedNetwork(plan, profiles, keys)
    with running(network, services=True):
        yield network


def done(folder: Path, *words: str, code: int = 0) -> str:
    """What a command printed; it ends with that code."""
    made = command(folder, *words)
    assert made.returncode == code, made.stdout + made.stderr
    return made.stdout


def main() -> None:
    """Writes all of them."""
    FOLDER.mkdir(exist_ok=True)
    for draw in (offline, of_network):
        with tempfile.TemporaryDirectory() as name:
            for title, drawing in draw(Path(name)).items():
                (FOLDER / f"{title}.svg").write_text(drawing, "utf-8")


if __name__ == "__main__":
    main()
