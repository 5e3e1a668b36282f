"""The page without a browser: what comes in, who sees what, and what every answer carries."""

from __future__ import annotations

import base64
import gzip
import json
import re
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from dash import Dash
from flask.testing import FlaskClient

from dashboard import intake
from dashboard.app import make_app
from dashboard.drive_view import drive_body
from dashboard.evidence_view import Asked, Screen, evidence_view, subjects
from dashboard.intake import Dropped, files_dropped, plain_name
from dashboard.numbers_view import numbers_of
from dashboard.reach import is_loopback, warning
from dashboard.serving import serve
from dashboard.sessions import Sessions
from dashboard.work import Work
from roadtest.edits import reading
from roadtest.errors import InputError, InputErrors
from roadtest.findings.steps import step_that_settles
from roadtest.wording import rounded

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
SAMPLE = SAMPLES / "before-axle-change"


def url_of(data: bytes) -> str:
    return "data:application/octet-stream;base64," + base64.b64encode(data).decode()


def plain(component: Any) -> Any:
    return json.loads(json.dumps(component, cls=_Encoder))


class _Encoder(json.JSONEncoder):
    def default(self, o: Any) -> Any:
        return o.to_plotly_json()


@pytest.fixture(scope="module")
def app() -> Dash:
    return make_app(SAMPLES)


@pytest.fixture
def client(app: Dash) -> FlaskClient:
    found: FlaskClient = app.server.test_client()
    return found


def test_dropped_files_are_the_drive_that_the_folder_is() -> None:
    files = sorted(SAMPLE.iterdir())
    taken = files_dropped([url_of(f.read_bytes()) for f in files], [f.name for f in files])()
    drive = taken.drive
    assert {f.name for f in drive.files} == {f.name for f in files}
    assert all(file.kind != "ignored" for file in drive.files)
    assert drive.notes is not None


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\logs\\gps.nmea", "gps.nmea"),
        ("a\nb\x1b[31m.csv", "a b [31m.csv"),
        ("..", ".."),
        ("/", "unnamed"),
        ("", "unnamed"),
    ],
)
def test_a_name_is_its_last_part_and_printable(name: str, expected: str) -> None:
    assert plain_name(name) == expected


def test_a_broken_file_is_told_beside_its_name_and_the_rest_used() -> None:
    files = {f.name: f.read_bytes() for f in SAMPLE.iterdir()}
    files["../<img src=x>.gz"] = gzip.compress(b"x" * 99)[:6]
    drive = files_dropped([url_of(data) for data in files.values()], list(files))().drive
    (broken,) = (file for file in drive.files if file.kind == "ignored")
    assert broken.name == "<img src=x>.gz"
    assert broken.why_ignored


def test_a_file_dropped_twice_counts_once_and_two_of_a_name_are_told() -> None:
    files = [(f.name, f.read_bytes()) for f in sorted(SAMPLE.iterdir())]
    sheet = dict(files)["build.toml"]
    drive = Dropped((*files, ("build.toml", sheet)))().drive
    (twice,) = (file for file in drive.files if file.kind == "ignored")
    assert (twice.name, twice.why_ignored) == ("build.toml", "the same file twice")
    said = "build.toml: there are two different files of this name; expected one build sheet"
    with pytest.raises(InputError, match=said):
        Dropped((*files, ("build.toml", sheet + b"# another\n")))()


def test_files_that_are_no_drive_are_refused_in_words() -> None:
    with pytest.raises((InputError, InputErrors), match=r"no build\.toml"):
        files_dropped([url_of(b"hello")], ["hello.txt"])()
    with pytest.raises(InputError, match="arrived damaged"):
        files_dropped(["data:text/plain;base64,%%%"], ["x.csv"])


def test_too_many_and_too_large_are_refused_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    many = intake.MOST_FILES + 1
    with pytest.raises(InputError, match=f"{many} files at once; expected at most"):
        files_dropped([url_of(b"")] * many, ["a"] * many)
    monkeypatch.setattr(intake, "MOST_BYTES", 2**20)
    with pytest.raises(InputError, match="more than 1 MiB; expected at most 1 MiB"):
        files_dropped([url_of(bytes(2**20 + 1))], ["a.log"])
    monkeypatch.setattr(intake, "MOST_EXPANDED_BYTES", 2**20)
    with pytest.raises(InputError, match="more than 1 MiB when expanded"):
        files_dropped([url_of(gzip.compress(bytes(2**21)))], ["a.log.gz"])()


def test_a_download_is_for_the_browser_whose_drive_it_is(
    app: Dash, client: FlaskClient, checked_work: Work
) -> None:
    client.get("/")
    cookie = client.get_cookie("roadtest")
    assert cookie is not None
    sessions: Sessions = app.server.extensions["roadtest"]
    sessions.keep(cookie.value, checked_work)
    got = client.get(f"/drive/{checked_work.id}/results.json")
    assert got.status_code == 200
    assert json.loads(got.data)["format"] == "roadtest results 1"
    assert got.headers["Content-Disposition"] == 'attachment; filename="results.json"'
    assert client.get(f"/drive/{checked_work.id}/report.pdf").data.startswith(b"%PDF")
    assert client.get(f"/drive/{checked_work.id}/passwd").status_code == 404
    assert client.get(f"/drive/{checked_work.id}/chart/mfdd.svg").data.startswith(b"<svg")
    assert client.get(f"/drive/{checked_work.id}/chart/gone.svg").status_code == 204
    stranger = app.server.test_client()
    for file in ("results.json", "chart/mfdd.svg", "chart/gone.svg"):
        assert stranger.get(f"/drive/{checked_work.id}/{file}").status_code == 404


def test_every_answer_keeps_the_page_safe(client: FlaskClient) -> None:
    answer = client.get("/")
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    script = next(part for part in policy.split("; ") if part.startswith("script-src"))
    assert "unsafe" not in script and "http" not in policy
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
    assert "http://" not in answer.text and "https://" not in answer.text


def test_another_hosts_name_is_refused_on_loopback(client: FlaskClient) -> None:
    assert client.get("/", headers={"Host": "example.test:8050"}).status_code == 403
    assert client.get("/", headers={"Host": "localhost:8050"}).status_code == 200
    open_app = make_app(None, "warning: anybody can use it")
    open_to_all = open_app.server.test_client()
    assert "anybody can use it" in json.dumps(open_to_all.get("/_dash-layout").json)
    assert open_to_all.get("/", headers={"Host": "example.test"}).status_code == 200


def test_another_page_in_the_browser_can_do_nothing_here(client: FlaskClient) -> None:
    asked = "/_dash-update-component"
    for origin in ("http://example.test", "null", "http://localhost:9"):
        assert client.post(asked, json={}, headers={"Origin": origin}).status_code == 403
    own = client.post(asked, json={}, headers={"Origin": "http://localhost"})
    assert own.status_code != 403


def test_the_page_is_there_at_once_and_offers_the_drives(client: FlaskClient) -> None:
    layout = json.dumps(client.get("/_dash-layout").json)
    assert "before-axle-change" in layout and "Drop the files" in layout


def test_everything_of_a_drive_is_on_the_page(checked_work: Work) -> None:
    said = json.dumps(plain(drive_body(checked_work)), ensure_ascii=False)
    results = checked_work.checked.results
    places = [said.index(f'"id": "{name}-title"') for name in ("q", "f", "evidence", "edits")]
    assert places == sorted(places)
    order = [said.index('"NOT PROVEN"'), said.index('"PASS"')]
    assert said.index('"FAIL"') < order[0] < order[1]
    for finding in results.findings:
        assert json.dumps(finding.title, ensure_ascii=False) in said
    for log in results.logs:
        assert log.name in said
    views = subjects(checked_work.charts)
    shown = json.dumps(plain([evidence_view(checked_work, Asked(v), Screen()) for v in views]))
    for chart in checked_work.charts:
        assert shown.count(f'"id": "chart-{chart.id}"') == 1


def test_what_settles_is_said_once_and_led_to_from_elsewhere(checked_work: Work) -> None:
    said = json.dumps(plain(drive_body(checked_work)), ensure_ascii=False)
    results = checked_work.checked.results
    for step in results.next_steps:
        assert said.count(json.dumps(step, ensure_ascii=False)[1:-1]) == 1
    led_to = {int(number) for number in re.findall(r'"#step-([0-9]+)"', said)}
    meant = {step_that_settles(f, results.findings, results.next_steps) for f in results.findings}
    assert led_to == meant - {None} and len(led_to) >= 3
    assert all(f'"id": "step-{number}"' in said for number in led_to)
    settled = [f for f in results.findings if f.verdict == "not proven" and f.id != "inspection"]
    for finding in settled:
        assert finding.to_settle is not None
        assert said.casefold().count(finding.to_settle.casefold()) == 1


def test_a_finding_leads_to_a_chart_that_is_there(checked_work: Work) -> None:
    said = json.dumps(plain(drive_body(checked_work)))
    led_to = set(re.findall(r'"data-chart": "([^"]+)"', said))
    assert {"dial-error", "mfdd", "gears"} <= led_to
    assert led_to <= {chart.id for chart in checked_work.charts}


@pytest.mark.parametrize(
    ("host", "alone"),
    [("127.0.0.1", True), ("::1", True), ("localhost", True), ("0.0.0.0", False), ("a", False)],
)
def test_another_address_says_what_it_lays_open(host: str, alone: bool) -> None:
    assert is_loopback(host) is alone
    said = warning(host, Path("drives"))
    assert (said == "") is alone
    assert alone or "every drive in the folder can be read" in said


def test_a_wrong_folder_or_port_is_one_clear_line(tmp_path: Path) -> None:
    for more, said in (
        ([str(tmp_path / "none")], "no such folder"),
        (["--port", "70000"], "70000; expected a number from 0 to 65535"),
    ):
        done = subprocess.run(
            [sys.executable, "-m", "roadtest", "dashboard", *more],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 2
        assert said in done.stderr and done.stderr.count("\n") == 1


def test_roadtest_does_not_import_the_page() -> None:
    code = (
        "import pkgutil, importlib, sys, roadtest\n"
        "for m in pkgutil.walk_packages(roadtest.__path__, 'roadtest.'):\n"
        "    if not m.name.endswith('__main__'): importlib.import_module(m.name)\n"
        "sys.exit(str({'dash', 'plotly', 'flask', 'dashboard'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.stderr.strip() == "set()"


def test_a_port_that_is_taken_is_one_clear_line() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(InputError, match=f"port {port}: address already in use; expected"):
            serve(None, "127.0.0.1", port)


def test_a_drive_that_is_not_held_any_more_is_told(client: FlaskClient) -> None:
    client.get("/")
    spec = next(
        one
        for one in json.loads(client.get("/_dash-dependencies").data)
        if one["inputs"][0]["id"] == "tick"
    )
    asked = {
        "output": spec["output"],
        "outputs": [
            {"id": name.rpartition(".")[0], "property": name.rpartition(".")[2]}
            for name in spec["output"].strip(".").split("...")
        ],
        "inputs": [{"id": "tick", "property": "n_intervals", "value": 1}],
        "state": [{"id": "drive-at-hand", "property": "data", "value": "gone"}],
        "changedPropIds": ["tick.n_intervals"],
    }
    answer = client.post("/_dash-update-component", json=asked)
    assert answer.status_code == 200
    assert "does not hold this drive any more" in answer.text
    client.delete_cookie("roadtest")
    assert "keeps no cookies" in client.post("/_dash-update-component", json=asked).text


def test_what_a_reading_does_not_change_is_not_drawn_anew(fresh_work: Work) -> None:
    before = dict(fresh_work.drawn)
    fresh_work.edit(
        lambda checked, e: e.put(("reading", "hold-5"), reading(checked, "hold-5", "41"))
    )
    after = fresh_work.drawn
    assert after["speedometer"] > before["speedometer"]
    assert after["drive"] == before["drive"] and after["braking"] == before["braking"]


def test_every_chart_has_its_figures_as_a_table(checked_work: Work) -> None:
    for chart in checked_work.charts:
        (told,) = re.findall(
            r'"data-tables": "((?:[^"\\]|\\.)*)"', json.dumps(plain(numbers_of(chart)))
        )
        tables = json.loads(json.loads(f'"{told}"'))
        assert len(tables) == len(chart.panels)
        assert all({len(row) for row in table["rows"]} == {3} for table in tables)
        assert sum(len(table["rows"]) for table in tables) < 400
    mfdd = next(chart for chart in checked_work.charts if chart.id == "mfdd")
    said = json.dumps(plain(numbers_of(mfdd)))
    stop = checked_work.checked.results.braking.stops[0]
    level = stop.mfdd_level
    assert level is not None and rounded(level.value, level.u95)[0] in said
