"""The schedules in README's runbook: tried where they can be."""

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from ruamel.yaml import YAML

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def block(kind):
    return re.search(rf"```{kind}\n(.*?)```", README, flags=re.DOTALL)[1]


@pytest.mark.parametrize(("code", "mails"), [(0, 0), (3, 1), (1, 1), (4, 1)])
def test_the_cron_line_mails_the_log_when_there_is_something_to_say(tmp_path, code, mails):
    minute, hour, day, month, weekday, command = block("cron").strip().split(None, 5)
    assert (minute, hour, day, month, weekday) == ("0", "5", "1", "*", "*")
    assert "%" not in command, "cron would end the line there"
    programs = {
        ".venv/bin/rca": f'#!/bin/sh\necho "said $*" >&2\nexit {code}\n',
        "bin/mail": '#!/bin/sh\necho "$2" >>mails; cat >>mails\n',
    }
    for name, text in programs.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        path.chmod(0o755)
    here = command.replace("/srv/fleet", str(tmp_path))
    search = f"{tmp_path / 'bin'}{os.pathsep}{os.environ['PATH']}"
    subprocess.run(["/bin/sh", "-c", here], env={**os.environ, "PATH": search}, check=False)
    log = tmp_path / "mails"
    assert log.exists() == bool(mails)
    if mails:
        assert f"code {code}" in log.read_text()
        assert "said report my_fleet --out reports" in log.read_text()


def test_the_systemd_units_are_valid(tmp_path):
    if shutil.which("systemd-analyze") is None:
        pytest.skip("no systemd-analyze on this machine")
    for part in re.split(r"(?=# fleet-report\.)", block("ini"))[1:]:
        name = part.split()[1]
        text = part.replace("/srv/fleet/.venv/bin/rca", "/bin/true").replace("/srv/fleet", "/tmp")
        (tmp_path / name).write_text(text)
    units = [str(tmp_path / name) for name in ("fleet-report.service", "fleet-report.timer")]
    done = subprocess.run(["systemd-analyze", "verify", *units], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_the_units_name_what_the_kit_returns():
    ini = block("ini")
    assert "SuccessExitStatus=3" in ini
    assert "OnCalendar=*-*-01 05:00" in ini


def test_the_hosted_schedule_is_yaml_and_takes_code_three_as_done():
    data = YAML(typ="safe", pure=True).load(block("yaml"))
    assert data["on"]["schedule"] == [{"cron": "0 5 1 * *"}]
    steps = [step.get("run", "") for step in data["jobs"]["report"]["steps"]]
    assert any(step.endswith("|| [ $? -eq 3 ]") for step in steps)


def test_every_exit_code_has_a_line_in_the_runbook():
    table = README[README.index("## Runbook") : README.index("Schedules")]
    for code in (0, 1, 2, 3, 4, 5):
        assert re.search(rf"^\| {code} \|", table, flags=re.MULTILINE)
