"""Credentials from a file, the environment and a prompt; and that no secret is ever shown."""

from pathlib import Path
from typing import Any

import pytest

from verifier.errors import InputError
from verifier.files.credentials import load_credentials, variable
from verifier.model.credentials import SnmpEntry

AUTH, PRIV, COMMUNITY = "tide-table-auth", "tide-table-priv", "tide-table-read"
SECRETS = (AUTH, PRIV, COMMUNITY)
ENV = {"FIELD_AUTH": AUTH, "FIELD_PRIV": PRIV, "BENCH_COMMUNITY": COMMUNITY, "SHORT": "1234567"}
CONTRACT = """
[snmp.field]
version = "3"
user = "verifier"
auth = "SHA-256"
auth_key_env = "FIELD_AUTH"
priv = "AES-128"
priv_key_env = "FIELD_PRIV"
[snmp.bench]
version = "2c"
community_env = "BENCH_COMMUNITY"
port = 1161
"""
V3 = '[snmp.x]\nversion = "3"\nuser = "verifier"\n'
V2 = '[snmp.x]\nversion = "2c"\ncommunity_env = "BENCH_COMMUNITY"\n'


@pytest.fixture
def write(tmp_path: Path) -> Any:
    def write_file(text: str, mode: int = 0o600) -> Any:
        path = tmp_path / "credentials.toml"
        path.write_text(text)
        path.chmod(mode)
        return path

    return write_file


def _refused(names: Any, file: Any = None, env: Any = None, ask: Any = None) -> Any:
    with pytest.raises(InputError) as caught:
        load_credentials(names, file, ENV if env is None else env, ask)
    told = str(caught.value) + repr(caught.value) + repr(caught.value.problems)
    assert not any(secret in told for secret in SECRETS)
    return caught.value


def test_the_contracts_file_is_read(write: Any) -> None:
    entries = load_credentials({"field", "bench"}, write(CONTRACT), ENV)
    field, bench = entries["field"], entries["bench"]
    assert (field.version, field.user, field.auth, field.priv, field.port) == (
        "3", "verifier", "SHA-256", "AES-128", 161,
    )  # fmt: skip
    assert field.auth_key is not None
    assert field.auth_key.reveal() == AUTH
    assert field.priv_key is not None
    assert field.priv_key.reveal() == PRIV
    assert field.level == "authPriv"
    assert (bench.version, bench.port) == ("2c", 1161)
    assert bench.community is not None
    assert bench.community.reveal() == COMMUNITY
    assert not any(secret in repr(entries) for secret in SECRETS)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[snmp.x]\n", 'version is missing: "1", "2c" or "3"'),
        ("[snmp.x]\nversion = 3\n", 'version is not a text: write it in quotes, such as "3"'),
        ('[snmp.x]\nversion = "2"\n', 'version is none of "1", "2c", "3"'),
        ('[snmp.x]\nversion = "2c"\n', "version 2c needs community_env or community"),
        ('[snmp.x]\nversion = "1"\n', "version 1 needs community_env or community"),
        ('[snmp.x]\nversion = "3"\n', "version 3 needs user"),
        (V2 + 'user = "a"\n', "user belongs to version 3, this entry is version 2c"),
        (V3 + 'community_env = "BENCH_COMMUNITY"\n', "community belongs to versions 1 and 2c"),
        (V3 + 'auth_key_env = "SHORT"\n', "auth_key is shorter than 8 characters (RFC 3414 11.2)"),
        (V3 + 'auth_key_env = "FIELD_AUTH"\npriv_key_env = "SHORT"\n', "priv_key is shorter than"),
        (V3 + 'priv_key_env = "FIELD_PRIV"\n', "privacy needs authentication too"),
        (V3 + 'auth = "SHA-256"\n', "auth needs auth_key_env or auth_key"),
        (V3 + 'auth_key_env = "FIELD_AUTH"\npriv = "AES-128"\n', "priv needs priv_key_env"),
        (V3 + 'auth = "SHA256"\nauth_key_env = "FIELD_AUTH"\n', "did you mean SHA-256?"),
        (V3 + f'auth = "{AUTH}"\nauth_key_env = "FIELD_AUTH"\n', "auth is none of MD5, SHA"),
        (V3 + 'auth_key_env = "NOT_SET"\n', "environment variable NOT_SET is not set"),
        (V2.replace("BENCH_COMMUNITY", COMMUNITY), "variable that community_env names is not set"),
        (V2 + f'community = "{COMMUNITY}"\n', "gives community as well as community"),
        (V2 + "port = 0\n", "port is not a number from 1 to 65535"),
        (V2 + 'port = "161"\n', "port is not a number from 1 to 65535"),
        (V2 + "port = true\n", "port is not a number from 1 to 65535"),
        (V2 + 'comunity = "a"\n', "unknown key 'comunity'; did you mean community?"),
        (V2.replace('"BENCH_COMMUNITY"', "5"), "community_env is not a text"),
        (V2 + "[smnp.y]\n", "unknown table 'smnp': entries are called [snmp.NAME]"),
        ('[snmp]\nx = "a"\n', "is not an entry: entries are called [snmp.NAME]"),
        ('snmp = "a"\n', "entries are called [snmp.NAME]"),
        ("[snmp.x\n", "not TOML"),
    ],
)
def test_each_fault_of_an_entry_is_told_without_its_secret(
    write: Any, text: str, words: str
) -> None:
    error = _refused({"x"}, write(text))
    assert words in str(error)
    assert "credentials.toml" in str(error)


def test_a_fault_has_line_key_and_entry(write: Any) -> None:
    error = _refused({"x"}, write(V3 + 'auth_key_env = "NOT_SET"\n'))
    assert "credentials.toml, line 4, field snmp.x.auth_key_env: entry x: " in str(error)


def test_all_faults_come_at_once(write: Any) -> None:
    text = '[snmp.a]\nversion = "2c"\n[snmp.b]\nversion = "3"\nport = 0\n'
    assert len(_refused({"a", "b", "c"}, write(text)).problems) == 4


def test_an_entry_that_is_not_needed_is_not_looked_at(write: Any) -> None:
    assert list(load_credentials({"bench"}, write(CONTRACT), {"BENCH_COMMUNITY": "x"})) == ["bench"]


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o644, 0o666])
def test_a_file_with_a_secret_that_others_may_read_is_refused(write: Any, mode: int) -> None:
    path = write(f'[snmp.x]\nversion = "2c"\ncommunity = "{COMMUNITY}"\n', mode)
    error = _refused({"x"}, path)
    assert f"run chmod 600 {path}" in str(error)
    assert "community_env" in str(error)


@pytest.mark.parametrize("mode", [0o600, 0o400, 0o620])
def test_a_file_with_a_secret_that_only_its_owner_reads_is_read(write: Any, mode: int) -> None:
    path = write(f'[snmp.x]\nversion = "2c"\ncommunity = "{COMMUNITY}"\n', mode)
    entry = load_credentials({"x"}, path, {})["x"]
    assert entry.community is not None
    assert entry.community.reveal() == COMMUNITY


def test_a_file_without_secrets_may_be_readable(write: Any) -> None:
    assert load_credentials({"field"}, write(CONTRACT, 0o644), ENV)["field"].user == "verifier"


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("field", "PLAN_VERIFIER_FIELD_COMMUNITY"),
        ("site-2 (new)", "PLAN_VERIFIER_SITE_2__NEW__COMMUNITY"),
        ("m\N{LATIN SMALL LETTER U WITH DIAERESIS}nchen", "PLAN_VERIFIER_M_NCHEN_COMMUNITY"),
    ],
)
def test_the_environments_names_are_those_of_the_contract(name: str, expected: Any) -> None:
    assert variable(name, "community") == expected


def test_the_environment_stands_in_for_a_file() -> None:
    env = {
        "PLAN_VERIFIER_BENCH_COMMUNITY": COMMUNITY,
        "PLAN_VERIFIER_FIELD_USER": "verifier",
        "PLAN_VERIFIER_FIELD_AUTH_KEY": AUTH,
        "PLAN_VERIFIER_FIELD_PRIV_KEY": PRIV,
        "PLAN_VERIFIER_FIELD_PRIV": "AES-256",
    }
    entries = load_credentials({"bench", "field"}, None, env)
    assert (entries["bench"].version, entries["field"].version) == ("2c", "3")
    assert (entries["field"].auth, entries["field"].priv) == ("SHA-256", "AES-256")
    assert entries["field"].level == "authPriv"


def test_the_environment_stands_in_for_an_entry_that_the_file_has_not(write: Any) -> None:
    env = {"PLAN_VERIFIER_OTHER_COMMUNITY": COMMUNITY}
    assert load_credentials({"other"}, write(CONTRACT), env)["other"].version == "2c"


def test_the_environment_is_checked_like_a_file() -> None:
    env = {"PLAN_VERIFIER_X_USER": "u", "PLAN_VERIFIER_X_AUTH_KEY": "1234567"}
    error = _refused({"x"}, None, env)
    assert "environment, field PLAN_VERIFIER_X_AUTH_KEY: entry x: auth_key is shorter" in str(error)


def test_community_and_user_at_once_are_refused() -> None:
    env = {"PLAN_VERIFIER_X_USER": "u", "PLAN_VERIFIER_X_COMMUNITY": COMMUNITY}
    assert "community belongs to versions 1 and 2c" in str(_refused({"x"}, None, env))


def test_an_entry_that_is_nowhere_is_told_with_what_would_do(write: Any) -> None:
    error = _refused({"feild"}, write(CONTRACT))
    for words in ("'feild'; did you mean field?", "there are bench, field",
                  "PLAN_VERIFIER_FEILD_COMMUNITY or PLAN_VERIFIER_FEILD_USER"):  # fmt: skip
        assert words in str(error)
    assert "no file was given" in str(_refused({"field"}))


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        (["", COMMUNITY], ("2c", None, "noAuthNoPriv")),
        (["verifier", AUTH, PRIV], ("3", "verifier", "authPriv")),
        (["verifier", AUTH, ""], ("3", "verifier", "authNoPriv")),
        (["verifier", "", ""], ("3", "verifier", "noAuthNoPriv")),
    ],
)
def test_a_person_is_asked_where_nothing_else_has_the_entry(answers: Any, expected: Any) -> None:
    left = list(answers)
    asked = []

    def ask(question: str, hidden: bool) -> Any:  # noqa: FBT001
        assert hidden == ("user" not in question)
        asked.append(question)
        return left.pop(0)

    entry = load_credentials({"x"}, None, {}, ask)["x"]
    assert isinstance(entry, SnmpEntry)
    assert (entry.version, entry.user, entry.level) == expected
    assert not left
    assert all("SNMP entry x" in question for question in asked)


def test_an_empty_answer_is_refused() -> None:
    assert "needs community" in str(_refused({"x"}, None, {}, lambda *_: ""))
