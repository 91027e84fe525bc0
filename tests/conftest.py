"""What some tests need of the machine: permission to send echoes, net-snmp, namespaces.

Where it is missing, the test is skipped with the reason and how to get it. With
`PLAN_VERIFIER_LAB=required` in the environment nothing is skipped, for no reason: it fails instead.
`PLAN_VERIFIER_LACKS="lab icmp raw"` then names the needs that this run rightfully lacks: what needs
them is skipped, and a need that is named and there all the same is an error.
"""

from __future__ import annotations

import os
import random
import shutil
import socket
import subprocess
from collections.abc import Generator
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

REQUIRED = os.environ.get("PLAN_VERIFIER_LAB") == "required"
LACKS = frozenset(os.environ.get("PLAN_VERIFIER_LACKS", "").split())
os.environ["PATH"] = f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin"  # snmpd is there
os.environ.pop("COLUMNS", None)  # a runner's own width is none of the commands'
PACKAGES = "apt-get install snmpd snmp iproute2 nftables iputils-ping util-linux"
settings.register_profile("ours", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("ours")  # a busy machine draws and runs examples slowly
NAMESPACE_TRIAL = """
ip link add v0 type veth peer name v1 && ip link add b0 type bridge && ip link set v0 master b0 &&
nft add table inet t && nft add chain inet t c &&
nft add rule inet t c numgen random mod 2 0 drop
"""


def without_programs(*programs: str) -> str | None:
    """Which of some programs are missing and how to get them."""
    missing = [p for p in programs if shutil.which(p) is None]
    return f"{', '.join(missing)} missing: {PACKAGES}" if missing else None


@cache
def without_icmp() -> str | None:
    """Why this process may not send echoes, and what permits it."""
    for kind in (socket.SOCK_DGRAM, socket.SOCK_RAW):
        try:
            socket.socket(socket.AF_INET, kind, socket.IPPROTO_ICMP).close()
        except OSError:
            continue
        return None
    return (
        "no permission to send echoes: run as root, or allow it to everybody with"
        " sysctl -w net.ipv4.ping_group_range='0 2147483647'"
    )


@cache
def without_raw() -> str | None:
    """Why this process may not open raw sockets."""
    try:
        socket.socket(socket.AF_INET, socket.SOCK_RAW, socket.IPPROTO_ICMP).close()
    except OSError:
        return "raw sockets need root or the capability CAP_NET_RAW: run the tests as root"
    return None


@cache
def without_snmpd() -> str | None:
    """Why net-snmp's agent and clients cannot be run."""
    return without_programs("snmpd", "snmpget", "snmpbulkwalk")


@cache
def without_lab() -> str | None:
    """Why the lab cannot be built here."""
    if os.geteuid() != 0:
        return "network namespaces need root: run the tests as root, for instance with sudo"
    if (lacking := without_programs("ip", "nft", "ping", "unshare")) or (
        lacking := without_snmpd()
    ):
        return lacking
    trial = subprocess.run(
        ["unshare", "--net", "sh", "-c", NAMESPACE_TRIAL],
        capture_output=True,
        text=True,
        check=False,
    )
    if trial.returncode:
        return (
            "this kernel or container refuses namespaces, veth, bridge or nftables"
            f" (a privileged container or a virtual machine has them): {trial.stderr.strip()}"
        )
    return None


@cache
def without_office() -> str | None:
    """Why workbooks cannot be opened by LibreOffice."""
    if shutil.which("soffice") is None:
        return "soffice missing: apt-get install --no-install-recommends libreoffice-calc"
    return None


@cache
def without_tmux() -> str | None:
    """Why no terminal can be looked at."""
    return None if shutil.which("tmux") else "tmux missing: apt-get install tmux"


@cache
def without_man() -> str | None:
    """Why the manual page cannot be formatted."""
    if missing := [p for p in ("man", "groff") if shutil.which(p) is None]:
        return f"{', '.join(missing)} missing: apt-get install man-db groff-base"
    return None


@cache
def without_browser() -> str | None:
    """Why pages cannot be opened in a browser."""
    if missing := [p for p in ("chromium", "chromedriver") if shutil.which(p) is None]:
        how = "apt-get install --no-install-recommends chromium chromium-driver"
        return f"{', '.join(missing)} missing: {how}"
    return None


def node_modules() -> Path:
    """The folder of the packages that look at pages from outside."""
    return Path(os.environ.get("PLAN_VERIFIER_NODE_MODULES", "node_modules")).resolve()


@cache
def without_npm() -> str | None:
    """Why pages cannot be looked at by html-validate and axe-core."""
    wanted = [node_modules() / name for name in ("html-validate", "axe-core")]
    if shutil.which("node") and all(path.is_dir() for path in wanted):
        return None
    return (
        "html-validate and axe-core missing: cp tests/report/outside/package.json DIR, then"
        " npm install --prefix DIR, then PLAN_VERIFIER_NODE_MODULES=DIR/node_modules"
    )


@cache
def without_poppler() -> str | None:
    """Why printed pages cannot be read."""
    if missing := [
        p for p in ("pdftotext", "pdftoppm", "pdfinfo", "pdffonts") if shutil.which(p) is None
    ]:
        return f"{', '.join(missing)} missing: apt-get install poppler-utils"
    return None


def postgresql_programs() -> Path:
    """The folder of PostgreSQL's newest server programs; one that is not there without any."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path or "/nowhere/initdb").parent


FONT_FOLDER = Path("/usr/share/fonts/truetype")
"""Where Debian keeps fonts, each package in a folder of its own."""


@cache
def without_fonts() -> str | None:
    """Why it cannot be seen how paper comes out with other fonts than this machine's."""
    names = ("LiberationSans-Regular", "LiberationSans-Bold", "DejaVuSans", "DejaVuSans-Bold")
    if missing := [n for n in names if not any(FONT_FOLDER.glob(f"*/{n}.ttf"))]:
        return f"{', '.join(missing)} missing: apt-get install fonts-liberation fonts-dejavu-core"
    return None


@cache
def without_postgresql() -> str | None:
    """Why no PostgreSQL server can be started."""
    if not (postgresql_programs() / "initdb").exists():
        return "PostgreSQL missing: apt-get install postgresql"
    return None


@cache
def without_systemd() -> str | None:
    """Why devices cannot be verified."""
    if shutil.which("systemd-analyze") is None:
        return "systemd-analyze missing: apt-get install --no-install-recommends systemd"
    return None


NEEDS = {
    "icmp": without_icmp,
    "raw": without_raw,
    "snmpd": without_snmpd,
    "lab": without_lab,
    "office": without_office,
    "browser": without_browser,
    "npm": without_npm,
    "tmux": without_tmux,
    "man": without_man,
    "poppler": without_poppler,
    "fonts": without_fonts,
    "postgresql": without_postgresql,
    "systemd": without_systemd,
}
"""Each marker, and what says why a test with it cannot run; None: it can."""


def needs(*names: str) -> None:
    """Skips what is running where the machine lacks one of these needs: for fixtures.

    A test says it by a marker; a fixture, which cannot have one, calls this first.
    """
    for name in names:
        if reason := NEEDS[name]():
            pytest.skip(reason)


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--shuffle SEED`: another order, to see that no test hangs on what ran before it."""
    parser.addoption(
        "--shuffle", type=int, metavar="SEED", help="files, and tests in them, at random"
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Files in random order and tests in random order in each, so that a file's fixtures stay one."""
    if (seed := config.getoption("--shuffle")) is None:
        return
    dice, files = random.Random(seed), list(dict.fromkeys(item.path for item in items))
    dice.shuffle(files)
    dice.shuffle(items)
    items.sort(key=lambda item: files.index(item.path))


def pytest_configure() -> None:
    """Refuses a run that says of itself what is not so."""
    if unknown := LACKS - NEEDS.keys():
        raise pytest.UsageError(f"PLAN_VERIFIER_LACKS: no such need: {', '.join(sorted(unknown))}")
    if there := sorted(name for name in LACKS if NEEDS[name]() is None):
        raise pytest.UsageError(f"PLAN_VERIFIER_LACKS names what is there: {', '.join(there)}")


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skips a test whose machine lacks what it is marked with."""
    needs(*(name for name in NEEDS if item.get_closest_marker(name)))


def rightful(skipped: object) -> bool:
    """Whether a test was skipped for a need that this run is said to lack."""
    reason = skipped[-1] if isinstance(skipped, tuple) else ""
    return reason in {f"Skipped: {NEEDS[name]()}" for name in LACKS}


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Turns a skipped test into a failed one where skipping is not allowed."""
    report = yield
    allowed = hasattr(report, "wasxfail") or rightful(report.longrepr)
    if REQUIRED and report.skipped and not allowed:
        report.outcome, report.longrepr = "failed", not_allowed(report.longrepr)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Turns a module skipped as a whole into an error where skipping is not allowed."""
    report = yield
    if REQUIRED and report.skipped:
        report.outcome, report.longrepr = "failed", not_allowed(report.longrepr)
    return report


def not_allowed(skipped: object) -> str:
    """The message of a test that was skipped although it must run."""
    reason = skipped[-1] if isinstance(skipped, tuple) else skipped
    return f"PLAN_VERIFIER_LAB=required, but this test did not run: {reason}"
