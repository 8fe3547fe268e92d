"""Settings: one table, clear refusals, and the same again in a child process."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import pytest

from lintsvc.settings import BadSetting, Settings, table


def test_nothing_said_gives_the_defaults() -> None:
    assert Settings.from_environment({}) == Settings()


def test_child_process_gets_the_same_settings() -> None:
    some = replace(Settings(), state=Path("/var/x"), keep_days=1.5, tokens="required", jobs=3, rules="/a:/b")
    assert Settings.from_environment(some.to_environment()) == some


@pytest.mark.parametrize(
    ("variable", "value"),
    [("JOBS", "two"), ("JOBS", "1.5"), ("KEEP_DAYS", "-1"), ("KEEP_DAYS", "nan"), ("TOKENS", "maybe"), ("LOG", "xml")],
)
def test_wrong_value_names_its_variable(variable: str, value: str) -> None:
    with pytest.raises(BadSetting, match=f"LINTSVC_{variable}"):
        Settings.from_environment({f"LINTSVC_{variable}": value})


def test_table_says_something_of_every_setting() -> None:
    rows = list(table())
    assert len(rows) == len(fields(Settings))
    assert all(text.endswith(".") and len(text) > 10 for _, _, text in rows)


def test_addresses_are_turned_into_what_the_libraries_take() -> None:
    some = Settings(redis_url="unix:///x/redis.sock", database_url="postgresql://u@h/d")
    assert some.broker_url == "redis+socket:///x/redis.sock"
    assert some.sqlalchemy_url == "postgresql+psycopg://u@h/d"
    assert Settings(state=Path("/s")).sqlalchemy_url == "sqlite:////s/records.sqlite3"
