"""What a report was made from, and inputs that change while it is made."""

import json

import pytest

from rca.errors import Refused
from rca.records import files
from rca.records.settings import read_settings
from rca.show.running import report
from rca.show.running.manifest import input_hashes
from rca.show.running.report import write_report
from tests.in_process import run_in_process
from tests.little_fleet import little_fleet


def test_only_the_files_that_were_read_are_listed(tmp_path):
    folder = little_fleet(tmp_path / "fleet")
    (folder / "passwords.txt").write_text("secret")
    (folder / "investigations").mkdir()
    (folder / "investigations" / "a.yaml").write_text("investigation: a\n")
    found = input_hashes(folder, read_settings(folder))
    assert set(found) == {
        "fleet.yaml", "repairs.csv", "units.csv", "parts.csv", "readings.csv", "fixes.csv",
        "investigations/a.yaml",
    }  # fmt: skip
    assert found["repairs.csv"] == files.sha256(folder / "repairs.csv")


def test_a_manifest_names_inputs_outputs_versions_and_parameters(tmp_path, in_process):
    done = write_report(little_fleet(tmp_path / "fleet"), month="2026-03", out=tmp_path / "out")
    about = json.loads((done.folder / "manifest.json").read_text(encoding="utf-8"))
    assert about["parameters"]["month"] == "2026-03"
    assert about["versions"]["pandas"]
    for name, mark in about["outputs"].items():
        assert files.sha256(done.folder / name) == mark
    assert {"report.html", "summary.json", "report.ipynb"} <= set(about["outputs"])


def test_input_that_changes_while_it_is_read_makes_no_report(tmp_path, in_process, monkeypatch):
    folder, out = little_fleet(tmp_path / "fleet"), tmp_path / "out"
    good = write_report(folder, month="2026-02", out=out)

    def run_while_an_export_goes_on(source, target, **more):
        run_in_process(source, target, **more)
        with (folder / "repairs.csv").open("a", encoding="utf-8") as stream:
            stream.write("U01,2026-03-30,feed pump\n")

    monkeypatch.setattr(report, "run_workbook", run_while_an_export_goes_on)
    with pytest.raises(Refused, match=r"repairs.csv: changed while it was read"):
        write_report(folder, month="2026-03", out=out)
    assert (out / "latest").resolve() == good.folder
    assert not (out / "2026-03").exists()


def test_a_table_that_is_missing_is_refused_with_the_name_that_was_meant(tmp_path, in_process):
    folder, out = little_fleet(tmp_path / "fleet"), tmp_path / "out"
    (folder / "repairs.csv").rename(folder / "repair.csv")
    assert input_hashes(folder, read_settings(folder))["repairs.csv"] == "cannot be read"
    with pytest.raises(Refused, match=r"repairs\.csv.*\n?.*did you mean 'repair\.csv'"):
        write_report(folder, month="2026-03", out=out)
    assert [path.name for path in out.iterdir()] == [".lock"]


def test_a_table_that_goes_while_the_report_is_made_is_told_as_a_change(
    tmp_path, in_process, monkeypatch
):
    folder = little_fleet(tmp_path / "fleet")

    def run_and_lose_the_table(source, target, **more):
        run_in_process(source, target, **more)
        (folder / "units.csv").unlink()

    monkeypatch.setattr(report, "run_workbook", run_and_lose_the_table)
    with pytest.raises(Refused, match=r"units.csv: changed while it was read"):
        write_report(folder, month="2026-03", out=tmp_path / "out")


def test_secrets_are_in_no_file_and_in_no_message(tmp_path, monkeypatch):
    """The address of a database, its password, and the salt: whatever goes wrong or well."""
    address = "sqlite:///" + str(tmp_path / "db-with-gehe1mnis.db")
    monkeypatch.setenv("FLEET_DB", address)
    monkeypatch.setenv("FLEET_SALT", "salz-und-pfeffer")
    folder = little_fleet(tmp_path / "fleet", more="people: {salt_env: FLEET_SALT}", fixes=False)
    _into_database(folder, address)

    def fails(source, target, **more):
        from rca.show.running.execution import run_workbook

        code = source.read_text(encoding="utf-8").replace(
            "page.first_page(summary, folder=rows)",
            "import os; raise ValueError(os.environ['FLEET_DB'] + os.environ['FLEET_SALT'])",
        )
        broken = tmp_path / source.name
        broken.write_text(code, encoding="utf-8")
        run_workbook(broken, target, **more)

    done = write_report(folder, month="2026-03", out=tmp_path / "out")
    monkeypatch.setattr(report, "run_workbook", fails)
    with pytest.raises(report.RcaError) as caught:
        write_report(folder, month="2026-03", out=tmp_path / "out")
    kept = list((tmp_path / "out" / "failed").glob("*.ipynb"))
    assert len(kept) == 1
    said = [str(caught.value).encode(), kept[0].read_bytes()]
    said += [path.read_bytes() for path in done.folder.rglob("*") if path.is_file()]
    for text in said:
        assert b"gehe1mnis" not in text
        assert b"salz-und-pfeffer" not in text
    assert b"***" in kept[0].read_bytes()


def _into_database(folder, address):
    import pandas as pd
    import sqlalchemy

    engine = sqlalchemy.create_engine(address)
    pd.read_csv(folder / "repairs.csv").to_sql("work", engine, index=False)
    engine.dispose()
    path = folder / "fleet.yaml"
    query = "{database_env: FLEET_DB, query: SELECT * FROM work}"
    text = path.read_text(encoding="utf-8").replace("repairs: repairs.csv", f"repairs: {query}")
    path.write_text(text, encoding="utf-8")


def test_a_report_that_would_hold_a_secret_is_not_kept(tmp_path, in_process, monkeypatch):
    monkeypatch.setenv("FLEET_SALT", "feed pump")
    folder = little_fleet(tmp_path / "fleet", more="people: {salt_env: FLEET_SALT}")
    with pytest.raises(report.RcaError, match="would hold a secret"):
        write_report(folder, month="2026-03", out=tmp_path / "out")
    assert [path.name for path in (tmp_path / "out").iterdir()] == [".lock"]
