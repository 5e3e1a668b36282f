"""Twenty people at the page at once: drives dropped, edited, taken along; memory before and after.

Run as `python tests/benchmarks/several_people.py [--people N] [--seconds S]` from the root of the
repository. Each of them is a thread that speaks to the page as a browser does: a cookie, an upload,
waiting for the findings, then views, readings, a manoeuvre left out, undo, downloads, and from time
to time another drive. Every car has a name of its own, and every answer is searched for the names
of all the others. Who has waited for long closes the page, one in four without a word, as a
telephone does that is switched off. The page keeps drives for 60 s after somebody last looked, not
for a day, so that its memory can be watched coming back once everybody has left.

Memory is what the page and the processes that check for it hold of their own, without the files of
libraries that they share with whatever else runs; what they share among them counts once. Before
the twenty one person is there alone, so that everything the page ever loads is loaded.
"""

from __future__ import annotations

import argparse
import base64
import http.client
import json
import os
import random
import re
import subprocess
import sys
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
DRIVES = ("phone-gpx", "before-axle-change", "wrong-gearbox")
KEPT_S = 60.0
PATIENCE_S = 240.0  # for a check that waits behind others
WATCHED_S = 165  # after the last has left: longer than a drive waits for a browser that is gone
SERVER = f"""
import logging, threading, time
from werkzeug.serving import make_server
from dashboard.apart import get_ready
from dashboard.app import make_app
from dashboard.memory import keep_together
from dashboard.sessions import Sessions
keep_together()
get_ready()
logging.getLogger("werkzeug").setLevel(logging.WARNING)
sessions = Sessions(kept_s={KEPT_S})
server = make_server("127.0.0.1", 0, make_app(sessions=sessions).server, threaded=True)
print(server.server_port, flush=True)
def forget():
    while True:
        time.sleep(5.0)
        sessions.forget_unused()
threading.Thread(target=forget, daemon=True).start()
server.serve_forever()
"""

Values = dict[str, Any]
"""What a callback is told, by id; of a pattern of ids, by its type: [(id, value)]."""


@dataclass
class Told:
    """What everybody saw."""

    times: dict[str, list[float]] = field(default_factory=dict)
    faults: Counter[str] = field(default_factory=Counter)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def took(self, what: str, seconds: float) -> None:
        with self.lock:
            self.times.setdefault(what, []).append(seconds)

    def fault(self, what: str) -> None:
        with self.lock:
            self.faults[what] += 1


class Person:
    """One person's browser."""

    def __init__(self, number: int, port: int, told: Told) -> None:
        self.name = f"Car-of-person-{number:03}-"
        self.told = told
        self.random = random.Random(number)
        self.cookie = ""
        self.wire = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
        self.ask("GET", "/")
        self.known = json.loads(self.ask("GET", "/_dash-dependencies"))

    def ask(self, how: str, path: str, body: Any = None) -> bytes:
        """Return the answer to a request; what it should not hold is noted as a fault."""
        heads = {"Cookie": self.cookie} if self.cookie else {}
        data = None if body is None else json.dumps(body).encode()
        if data is not None:
            heads["Content-Type"] = "application/json"
        self.wire.request(how, path, data, heads)
        answer = self.wire.getresponse()
        content = answer.read()
        given = answer.headers.get("Set-Cookie")
        if given:
            self.cookie = given.partition(";")[0]
        if answer.status not in (200, 204):
            self.told.fault(f"{path.partition('?')[0][:40]}: status {answer.status}")
        for name in set(re.findall(rb"Car-of-person-[0-9]+-", content)):
            if name.decode() != self.name:
                self.told.fault("somebody else's drive was seen")
        return content

    def tell(self, changed: str, property_: str, values: Values, output: str = "") -> Any:
        """Have the callback that hears of `changed` run; return the answer, None where nothing."""
        spec = next(
            one
            for one in self.known
            if not one["clientside_function"]
            and output in one["output"]
            and any(_kind(i["id"]) == changed and i["property"] == property_ for i in one["inputs"])
        )
        outputs = [_filled(_split(name), values) for name in spec["output"].strip(".").split("...")]
        inputs = [_filled(one, values) for one in spec["inputs"]]
        first = next(one for one in _flat(inputs) if _kind(_text(one["id"])) == changed)
        body = {
            "output": spec["output"],
            "outputs": outputs if spec["output"].startswith("..") else outputs[0],
            "inputs": inputs,
            "state": [_filled(one, values) for one in spec["state"]],
            "changedPropIds": [f"{_text(first['id'])}.{property_}"],
        }
        content = self.ask("POST", "/_dash-update-component", body)
        return json.loads(content)["response"] if content else None

    def drop(self) -> str:
        """Drop a drive's files; return its id once there are findings, "" where there are none."""
        drive = self.random.choice(DRIVES)
        files = sorted((ROOT / "sample_logs" / drive).iterdir())
        contents = [file.read_bytes() for file in files]
        sheet = next(n for n, file in enumerate(files) if file.name == "build.toml")
        label = f'label = "{self.name}{drive}"'.encode()
        contents[sheet] = re.sub(rb"(?m)^label = .*$", label, contents[sheet], count=1)
        urls = ["data:;base64," + base64.b64encode(data).decode() for data in contents]
        began = time.monotonic()
        dropped = {"contents": urls, "names": [file.name for file in files]}
        answer = self.tell("dropped", "data", {"dropped": dropped})
        work = str(answer["drive-at-hand"]["data"])
        self.told.took("files taken", time.monotonic() - began)
        while time.monotonic() - began < PATIENCE_S:
            answer = self.tell("tick", "n_intervals", {"tick": 1, "drive-at-hand": work}) or {}
            if answer.get("ready", {}).get("data") == work:
                self.told.took("files to findings, waiting for others", time.monotonic() - began)
                return work
            if answer.get("tick", {}).get("disabled"):
                self.told.fault(f"refused: {json.dumps(answer)[:200]}")
                return ""
            time.sleep(0.3)
        self.told.took("given up after", time.monotonic() - began)
        self.leave(work)
        return ""

    def leave(self, work: str) -> None:
        """Close the page."""
        if work and self.random.random() < 0.75:
            self.ask("POST", f"/drive/{work}/left", {})

    def use(self, work: str, until: float) -> None:
        """Look at a drive, edit it, take it along."""
        began = time.monotonic()
        body = json.dumps(self.tell("ready", "data", {"ready": work}, "body.children"))
        self.told.took("page of a drive", time.monotonic() - began)
        if self.name not in body:
            self.told.fault("a drive without its own name")
        holds = sorted(set(re.findall(r'"hold": "(hold-[0-9]+)"', body)))
        made = sorted(set(re.findall(r'"value": "((?:stop|pull|hold)-[0-9]+)"', body)))
        subjects = sorted(set(re.findall(r'"type": "want", "subject": "([a-z]+)"', body)))
        typed = dict.fromkeys(holds, "")
        for number in range(self.random.randint(8, 16)):
            if time.monotonic() > until:
                return
            at_hand = {"drive-at-hand": work, "scheme": {"dark": False, "touch": False}}
            subject = {"type": "want", "subject": self.random.choice(subjects)}
            pane = [({"type": "pane", "subject": subject["subject"]}, None)]
            view = {"want": [(subject, {"round": number})], "pane": pane}
            self.timed("a view", "want", "data", {**at_hand, **view})
            if holds:
                typed[self.random.choice(holds)] = str(self.random.randint(20, 75))
                fields = [({"type": "reading", "hold": h}, text) for h, text in typed.items()]
                errors = [({"type": "error", "hold": h}, None) for h in holds]
                values = {**at_hand, "reading": fields, "error": errors}
                self.timed("a reading", "reading", "value", values)
            if made and number % 4 == 1:
                out = {"out-which": self.random.choice(made), "out-why": f"{self.name}slipped"}
                self.press("leave out", {**at_hand, **out})
            if number % 4 == 3:
                self.press("undo", at_hand)
            if number % 5 == 4:
                file = self.random.choice(("report.pdf", "report.html", "results.json"))
                began = time.monotonic()
                self.ask("GET", f"/drive/{work}/{file}")
                self.told.took(f"download {file}", time.monotonic() - began)
            time.sleep(self.random.uniform(0.2, 2.0))

    def press(self, what: str, values: Values) -> None:
        """Press a button of those for entering by hand."""
        self.timed(what, "asked-edit", "data", {**values, "asked-edit": {"what": {"do": what}}})

    def timed(self, what: str, changed: str, property_: str, values: Values) -> Any:
        """Have a callback run, and note how long it takes."""
        began = time.monotonic()
        answer = self.tell(changed, property_, values)
        self.told.took(what, time.monotonic() - began)
        if answer and "does not hold" in json.dumps(answer):
            self.told.fault("a drive was gone")
        return answer


def _kind(ident: str) -> str:
    return str(json.loads(ident)["type"]) if ident.startswith("{") else ident


def _text(ident: Any) -> str:
    return ident if isinstance(ident, str) else json.dumps(ident, separators=(",", ":"))


def _split(name: str) -> dict[str, str]:
    ident, _, prop = name.rpartition(".")
    return {"id": ident, "property": prop}


def _filled(wanted: dict[str, Any], values: Values) -> Any:
    """Return what a callback is told of one of its inputs, states or outputs."""
    ident, prop = wanted["id"], wanted["property"]
    if not ident.startswith("{"):
        return {"id": ident, "property": prop, "value": values.get(ident)}
    found = [
        {"id": one, "property": prop, "value": one if prop == "id" else value}
        for one, value in values.get(_kind(ident), [])
    ]
    return found[0] if "MATCH" in ident else found


def _flat(inputs: list[Any]) -> list[Any]:
    return [one for part in inputs for one in (part if isinstance(part, list) else [part])]


def live(number: int, port: int, told: Told, until: float) -> None:
    """Be at the page until then."""
    try:
        person = Person(number, port, told)
        work = ""
        while time.monotonic() < until:
            work = person.drop()
            if work:
                person.use(work, until)
        person.leave(work)
    except (OSError, http.client.HTTPException, LookupError, TypeError, ValueError) as fault:
        told.fault(f"{type(fault).__name__}: {fault}"[:200])


def memory_mb(process: int) -> float:
    """Return the anonymous memory of a process and of all that it began, what is shared once."""
    found = 0.0
    for one in [process, *_begun_by(process)]:
        try:
            text = Path(f"/proc/{one}/smaps_rollup").read_text(encoding="utf-8")
        except OSError:
            continue  # it has ended meanwhile
        found += sum(map(int, re.findall(r"(?m)^Pss_Anon:\s+([0-9]+)", text))) / 1024.0
    return found


def _begun_by(process: int) -> list[int]:
    try:
        children = Path(f"/proc/{process}/task").glob("*/children")
        found = [int(one) for file in children for one in file.read_text("ascii").split()]
    except OSError:
        return []
    return found + [later for one in found for later in _begun_by(one)]


def main() -> None:
    """Print what so many people made of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=300.0)
    asked = parser.parse_args()
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    program = [sys.executable, "-c", SERVER]
    server = subprocess.Popen(program, stdout=subprocess.PIPE, env=environment, cwd=ROOT)
    try:
        port = int(server.stdout.readline()) if server.stdout else 0
        told = Told()
        Person(0, port, told)
        time.sleep(5.0)  # what checks need is loaded meanwhile
        fresh = memory_mb(server.pid)
        alone = Person(0, port, Told())
        work = alone.drop()
        alone.use(work, float("inf"))
        for file in ("report.pdf", "report.html", "results.json"):
            alone.ask("GET", f"/drive/{work}/{file}")
        alone.leave(work)
        time.sleep(KEPT_S + 15.0)
        before = memory_mb(server.pid)
        until = time.monotonic() + asked.seconds
        people = [
            threading.Thread(target=live, args=(number, port, told, until))
            for number in range(1, asked.people + 1)
        ]
        for person in people:
            person.start()
        most = before
        while any(person.is_alive() for person in people):
            most = max(most, memory_mb(server.pid))
            time.sleep(0.5)
        after = []
        for _ in range(WATCHED_S // 15):
            time.sleep(15.0)
            after.append(memory_mb(server.pid))
    finally:
        server.terminate()
        server.wait()
    print(f"{asked.people} people, {asked.seconds:g} s")
    for what, times in sorted(told.times.items()):
        middle, last = sorted(times)[len(times) // 2], max(times)
        print(f"{what:40} {len(times):5} times, median {middle:6.2f} s, longest {last:6.2f} s")
    print(f"faults: {dict(told.faults) or 'none'}")
    print(f"memory: {fresh:.0f} MB at the start, {before:.0f} MB after one person, {most:.0f} MB")
    print("  at most, every 15 s after the last of all left:")
    print("  " + " ".join(f"{mb:.0f}" for mb in after) + " MB")
    print("load of the machine over 1, 5 and 15 min: {:.1f} {:.1f} {:.1f}".format(*os.getloadavg()))


if __name__ == "__main__":
    main()
