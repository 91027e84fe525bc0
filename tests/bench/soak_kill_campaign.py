"""Kills soaks at random moments and proves what each left behind: readable, unfinished, no hole.

python -m tests.bench.soak_kill_campaign [KILLS [SEED]]
"""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path

from tests.cli import test_soak as soak
from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.simulator.running import running_process

AT_ONCE = 10


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    dice = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "plan.yaml").write_text(soak.PLAN)
        secret = folder / "credentials.toml"
        text = f'[snmp.bench]\nversion = "2c"\ncommunity = "coastal-read"\nport = {soak.PORT}\n'
        secret.write_text(text)
        secret.chmod(0o600)
        plan, _ = read_plan(folder / "plan.yaml")
        profiles = load_profiles({"hop-radio"})
        with running_process(plan, profiles, load_credentials({"bench"}, secret, {})):
            echoes = [n for batch in range(kills // AT_ONCE) for n in killed(folder, batch, dice)]
    print(f"{len(echoes)} killed, all readable and marked unfinished; echoes kept: "
          f"{sum(echoes)} in all, none in {echoes.count(0)}, most {max(echoes)}")  # fmt: skip


def killed(folder: Path, batch: int, dice: random.Random) -> list[int]:
    """Ten at once, each killed between its first line and its eighth second."""
    place = folder / f"batch{batch}"
    place.mkdir()
    tools = soak.killed(folder, place, [dice.uniform(0, 8) for _ in range(AT_ONCE)])
    return [soak.proved(tool) for tool in tools]


if __name__ == "__main__":
    main()
