"""`bellcheck demo-year` and `bellcheck findings`: from an empty folder to what stands out."""

import json
from pathlib import Path

from tests.cli.cli_run import environment, here


def test_a_school_day_of_the_demo_year_is_lived_and_looked_through(tmp_path: Path) -> None:
    made = tmp_path / "year"
    said = here("demo-year", "--out", str(made), "--autumn", "2025", "--from", "2026-01-24", "--to", "2026-01-25",
                env=environment())  # fmt: skip
    assert said.code == 0, said.err
    assert "bellcheck report --from 2026-01-24 --to 2026-01-25" in said.out
    env = {**environment(), "BELLCHECK_SECRETS": str(made / "secrets")}
    del env["BELLCHECK_KEY"]
    found = here("findings", "--from", "2026-01-24", "--to", "2026-01-25", env=env)
    assert (found.code, found.err) == (0, "")
    assert "Nothing stands out" in found.out
    assert "0.1 false findings of each kind" in found.out
    as_json = here("findings", "--json", "--from", "2026-01-24", "--to", "2026-01-25", env=env)
    assert json.loads(as_json.out) == []
    backwards = here("findings", "--from", "2026-01-25", "--to", "2026-01-24", env=env)
    assert backwards.code == 2
    assert "give the earlier date first" in backwards.err
