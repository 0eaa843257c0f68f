"""day.html in a real browser, offline: taps against ``lath at``, keys, widths, speed, injection.

Run by .ci/run, or by hand; in short by pytest where there is a browser:

    apt-get install -y chromium chromium-driver nodejs npm
    tests/browser/run .venv/bin/python

Exit code 0: all is well; 1: what is wrong is printed. Needs no package but
pypdf: the browser is spoken to in the W3C WebDriver protocol over HTTP. The answers come
from ``lath at --json``, a process of its own.
"""

from __future__ import annotations

import argparse
import base64
import json
import random
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
TAPS = 20
WIDTHS = ((320, 640), (390, 844), (768, 1024), (1280, 900))
USABLE_S = 2.0
SLOWER = 4


class Browser:
    """One session of a headless browser."""

    def __init__(self, port: int) -> None:
        self.base = f"http://127.0.0.1:{port}"
        options = {
            "args": ["--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"],
            "prefs": {"profile.default_content_setting_values.geolocation": 1},
        }
        wanted = {
            "browserName": "chrome",
            "goog:chromeOptions": options,
            "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
        }
        found = self.call("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self.base += f"/session/{found['sessionId']}"

    def call(self, method: str, path: str, body: dict[str, Any] | None = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.base + path, data=data, method=method)
        with urllib.request.urlopen(request, timeout=60) as answer:
            return json.load(answer)["value"]

    def chrome(self, command: str, **params: Any) -> Any:
        return self.call("POST", "/goog/cdp/execute", {"cmd": command, "params": params})

    def run(self, script: str, *args: Any) -> Any:
        return self.call("POST", "/execute/sync", {"script": script, "args": list(args)})

    def open(self, page: Path, width: int = 390, height: int = 844) -> None:
        self.chrome(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=2, mobile=width < 1000,
        )  # fmt: skip
        self.call("POST", "/url", {"url": page.as_uri()})

    def log(self, kind: str) -> list[dict[str, Any]]:
        return list(self.call("POST", "/se/log", {"type": kind}))

    def picture(self, path: Path) -> None:
        size = self.run(
            "return [document.documentElement.clientWidth, document.documentElement.scrollHeight]"
        )
        clip = {"x": 0, "y": 0, "width": size[0], "height": size[1], "scale": 0.5}
        shot = self.chrome("Page.captureScreenshot", captureBeyondViewport=True, clip=clip)
        path.write_bytes(base64.b64decode(shot["data"]))


@contextmanager
def browser() -> Iterator[Browser]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    driver = shutil.which("chromedriver") or sys.exit("chromedriver is not installed")
    process = subprocess.Popen(
        [driver, f"--port={port}"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        for _ in range(100):
            try:
                with socket.create_connection(("127.0.0.1", port), timeout=1):
                    break
            except OSError:
                time.sleep(0.1)
        one = Browser(port)
        try:
            yield one
        finally:
            one.call("DELETE", "")
    finally:
        process.terminate()
        process.wait(timeout=10)


def tell(line: str) -> None:
    sys.stdout.write(line + "\n")


def lath(*words: str) -> str:
    """What the command line prints."""
    command = [sys.executable, "-m", "pipeline.cli", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT).stdout


TAP = """
const [left, top] = arguments;
const canvas = document.getElementById("map");
const box = canvas.getBoundingClientRect();
for (const kind of ["pointerdown", "pointerup"]) {
  canvas.dispatchEvent(new PointerEvent(kind, {
    pointerId: 1, clientX: box.left + left, clientY: box.top + top, bubbles: true,
  }));
}
"""
READ = """
const text = (id) => document.getElementById(id).textContent;
return {
  mark: text("mark"), where: text("where"), grid: text("grid"),
  rows: [...document.querySelectorAll("#layers tr")].map((row) =>
    [...row.children].map((cell) => cell.textContent)),
};
"""


def tap(page: Browser, left: float, top: float) -> dict[str, Any]:
    page.run(TAP, left, top)
    return dict(page.run(READ))


def agrees(told: dict[str, Any], job: Path) -> str:
    """What of a tap's answer is not what ``lath at`` says; empty if all is the same."""
    east, north = re.findall(r"-?[\d.]+", told["grid"])
    at = json.loads(lath("at", str(job), "--east", east, "--north", north, "--json"))
    station = re.search(r"Station (-?)(\d+)\+([\d.]+)", told["where"])
    assert station
    value = 1000 * int(station[2]) + float(station[3])
    wrong = []
    if abs((-value if station[1] else value) - at["station"]) > 0.0005:
        wrong.append(f"station {told['where']}, not {at['station']}")
    offset = re.search(r"offset ([\d.]+)", told["where"])
    if abs((float(offset[1]) if offset else 0.0) - abs(at["offset"])) > 0.0005:
        wrong.append(f"offset {told['where']}, not {at['offset']}")
    expected = [("NOT SURVEYED" if at["ground"] is None else f"{at['ground']:.3f}")]
    expected += ["not designed here" if z is None else f"{z:.3f}" for z in at["layers"].values()]
    shown = [row[1] for row in told["rows"]]
    if shown != expected:
        wrong.append(f"{shown}, not {expected}")
    cuts = ["" if c is None else mark(c) for c in at["cut"].values()]
    if [row[2] for row in told["rows"]][1:] != cuts:
        wrong.append(f"{told['rows']}, not {cuts}")
    return "; ".join(wrong)


def mark(cut: float) -> str:
    """The lath's words for a cut that is rounded already."""
    if cut == 0:
        return "ON GRADE"
    return f"{'C' if cut > 0 else 'F'} {abs(cut):.3f}"


def check_taps(page: Browser, job: Path, say: Callable[[str], None]) -> None:
    """Random taps over the middle of the street and its edges."""
    shake = random.Random(20260514)
    told_nothing = 0
    for _ in range(TAPS):
        station, offset = shake.uniform(-5, 425), shake.uniform(-7, 7)
        page.run(
            'document.getElementById("station").value = arguments[0];'
            'document.getElementById("offset").value = arguments[1];'
            'document.getElementById("find").requestSubmit();',
            f"{min(max(station, 0), 420):.1f}", "0",
        )  # fmt: skip
        size = page.run(
            'const c = document.getElementById("map"); return [c.clientWidth, c.clientHeight]'
        )
        view = [
            float(x) for x in page.run('return document.getElementById("map").dataset.view').split()
        ]
        told = tap(page, size[0] / 2 + offset * view[2] * 0.7, size[1] / 2 + offset * view[2] * 0.7)
        told_nothing += told["mark"].startswith("NOT")
        if not page.run('return document.getElementById("section").childElementCount'):
            say("a tap draws no section")
        wrong = agrees(told, job)
        if wrong:
            say(f"a tap disagrees with lath at: {wrong}")
    if told_nothing == TAPS:
        say("no tap met surveyed ground")


def check_reckoning(file: Path, job: Path, say: Callable[[str], None]) -> None:
    """The page's own reckoning in node against `lath at`'s, unrounded, at 400 places."""
    import numpy as np

    from pipeline.compare import places
    from pipeline.run import Stopwatch, run_day

    node = shutil.which("node")
    if node is None:
        tell("node is not installed: the reckoning is checked by taps only")
        return
    day = run_day(job, None, Stopwatch())
    corridor = day.morning.corridor
    shake = random.Random(1)
    ends = corridor.alignment.station
    asked = [
        {"station": shake.uniform(ends[0], ends[-1]), "offset": shake.uniform(-8, 8)}
        for _ in range(400)
    ]
    script = Path(__file__).with_name("answers.js")
    told = subprocess.run(
        [node, str(script), str(file)], input="\n".join(map(json.dumps, asked)),
        capture_output=True, text=True, check=True,
    ).stdout.splitlines()  # fmt: skip
    worst = 0.0
    for place, line in zip(asked, told, strict=True):
        page = json.loads(line)
        at = places.at_station(corridor, day.ground, place["station"], place["offset"])
        pairs = [(page["ground"], at.ground), (page["easting"], at.easting)]
        pairs += [(page["layers"][name], z) for name, z in at.layers.items()]
        for mine, its in pairs:
            if (mine is None) != bool(np.isnan(its)):
                say(f"the page says {mine}, lath at {its}, at {place}")
            elif mine is not None:
                worst = max(worst, abs(mine - its))
    tell(f"reckoning: at most {worst:.1e} m from lath at")
    if worst > 2e-6:
        say(f"the page reckons {worst:.1e} m beside lath at")


def check_stations(file: Path, job: Path, say: Callable[[str], None]) -> None:
    """What the page calls a station, and takes one for, as the program does: gap and overlap."""
    from dataclasses import replace

    from pipeline.crew.page.numbers import line_data
    from pipeline.design.equations import chain_of, station_text
    from pipeline.errors import DesignError
    from pipeline.ingest.job.inputs import read_inputs
    from pipeline.run import build_corridor

    node = shutil.which("node")
    if node is None:
        return
    plain = build_corridor(read_inputs(job, None))[0].alignment
    first, last = float(plain.station[0]), float(plain.station[-1])
    at = first + (last - first) * 0.2, first + (last - first) * 0.6
    ahead = at[0] + 5000.0
    back = ahead + at[1] - at[0]
    alignment = replace(
        plain, equations=((at[0], at[0], ahead), (at[1], back, back - 0.3 * (at[1] - at[0])))
    )
    shake = random.Random(2)
    counted = [shake.uniform(first, last) for _ in range(300)]
    asked = [{"line": line_data(alignment)}]
    asked += [{"counted": s, "step": step} for s in counted for step in (0.001, 0.01, 0.1, 1)]
    texts = [station_text(alignment, s, step=0.001) for s in counted]
    texts += [text.partition(" ")[0] for text in texts] + ["9+999", "0+100 (7)"]
    asked += [{"meant": text} for text in texts]
    script = Path(__file__).with_name("answers.js")
    told = subprocess.run(
        [node, str(script), str(file)], input="\n".join(map(json.dumps, asked)),
        capture_output=True, text=True, check=True,
    ).stdout.splitlines()  # fmt: skip
    for one, line in zip(asked[1:], told, strict=True):
        mine = json.loads(line)
        if "counted" in one:
            its = station_text(alignment, one["counted"], step=one["step"])
        else:
            try:
                its = chain_of(alignment, one["meant"])
            except DesignError:
                its = None
        same = mine == its if not isinstance(its, float) else abs(mine - its) < 1e-6
        if not same:
            say(f"the page takes {one} for {mine}, the program for {its}")
    tell(f"stations: {len(asked) - 1} names as the program's")


def check_calm(page: Browser, files: Sequence[Path], say: Callable[[str], None]) -> None:
    """No word in the console, and nothing asked for but the pages themselves."""
    own = {file.as_uri() for file in files}
    for entry in page.log("browser"):
        say(f"console: {entry['message']}")
    for entry in page.log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            url = message["params"]["request"]["url"]
            if url not in own and not url.startswith("data:"):
                say(f"asks for {url[:90]}")


def check_keys(page: Browser, say: Callable[[str], None]) -> None:
    """Enter on the map reads its middle; the bright switch and a layer answer to keys."""
    before = page.run('return document.getElementById("map").dataset.view')
    page.run('document.getElementById("map").focus()')
    press(page, "Enter")
    if page.run('return document.getElementById("asked").hidden'):
        say("Enter on the map does not answer")
    press(page, "ArrowRight")
    press(page, "+")
    time.sleep(0.2)
    if page.run('return document.getElementById("map").dataset.view') == before:
        say("arrows and plus do not move the map")


def press(page: Browser, key: str) -> None:
    for kind in ("keyDown", "keyUp"):
        page.chrome(
            "Input.dispatchKeyEvent",
            type=kind,
            key=key,
            **({"text": "\r"} if key == "Enter" else {}),
        )


def check_fingers(page: Browser, say: Callable[[str], None]) -> None:
    """Real touches: a drag moves the map, two fingers make it larger, a tap asks."""
    page.chrome("Emulation.setTouchEmulationEnabled", enabled=True, maxTouchPoints=2)
    page.run('document.getElementById("map").scrollIntoView()')
    left, top, width, height = page.run(
        'const b = document.getElementById("map").getBoundingClientRect();'
        "return [b.left, b.top, b.width, b.height]"
    )
    x, y = left + width / 2, top + height / 2

    def touch(kind: str, *points: tuple[float, float]) -> None:
        held = [{"x": px, "y": py, "id": k} for k, (px, py) in enumerate(points)]
        page.chrome("Input.dispatchTouchEvent", type=kind, touchPoints=held)

    def view() -> list[float]:
        time.sleep(0.2)
        return [
            float(v) for v in page.run('return document.getElementById("map").dataset.view').split()
        ]

    before, asked = view(), page.run(READ)["grid"]
    touch("touchStart", (x, y))
    for k in range(1, 5):
        touch("touchMove", (x + 20 * k, y))
    touch("touchEnd")
    dragged = view()
    if abs(dragged[0] - before[0]) * before[2] < 40 or page.run(READ)["grid"] != asked:
        say("a drag does not move the map, or it asks")
    touch("touchStart", (x - 30, y), (x + 30, y))
    for k in range(1, 5):
        touch("touchMove", (x - 30 - 15 * k, y), (x + 30 + 15 * k, y))
    touch("touchEnd")
    pinched = view()
    if pinched[2] < 2.0 * dragged[2] or page.run(READ)["grid"] != asked:
        say("two fingers do not make the map larger, or they ask")
    touch("touchStart", (x, y))
    touch("touchEnd")
    time.sleep(0.2)
    if page.run(READ)["grid"] == asked:
        say("a tap does not ask")


HOSTILE = '"><img src=x onerror=alert(1)></script><script>alert(2)</script>'


def check_hostile(page: Browser, folder: Path, say: Callable[[str], None]) -> None:
    """Markup in names, codes and notes is text: no new element, no dialog, no request."""
    job = folder / "hostile"
    lath("demo", str(job))
    shutil.rmtree(job / "out")
    text = (job / "job.toml").read_text(encoding="utf-8")
    name = HOSTILE[:60].replace('"', '\\"')
    (job / "job.toml").write_text(
        re.sub(r'^name = ".*?"', lambda _: f'name = "{name}"', text, count=1, flags=re.MULTILINE),
        encoding="utf-8",
    )
    things = (job / "utilities.csv").read_text(encoding="utf-8")
    quoted = '"' + HOSTILE.replace('"', '""') + '"'
    (job / "utilities.csv").write_text(
        things.replace('"box lowered, key extension out"', quoted).replace("MH1,", f"{quoted},"),
        encoding="utf-8",
    )
    shots = next((job / "shots").glob("*/morning.csv"))
    shots.write_text(
        shots.read_text(encoding="utf-8").replace(",GX", f",{quoted}"), encoding="utf-8"
    )
    lath("run", str(job))
    file = next((job / "out").glob("*/day.html"))
    page.open(file)
    page.run(TAP, 190, 200)
    found = page.run(
        "return [document.images.length, document.scripts.length, document.title,"
        ' document.getElementById("buried").textContent]'
    )
    if found[0] or found[1] != 2 or "<img src=x" not in found[2] or "onerror" not in found[3]:
        say(f"markup of the data became markup of the page: {found[:3]}")
    check_calm(page, [file], say)


def check_position(page: Browser, folder: Path, say: Callable[[str], None]) -> None:
    """Where am I: the phone's place within a metre of where PROJ puts it."""
    from pyproj import Transformer

    job = folder / "known-grid"
    lath("demo", str(job))
    shutil.rmtree(job / "out")
    for name, east, north in (
        ("design/alignment.csv", "5240.000", "3110.000"), ("job.toml", 'crs = "local"', ""),
    ):  # fmt: skip
        text = (job / name).read_text(encoding="utf-8")
        if north:
            text = text.replace(east, "455240.000").replace(north, "5803110.000")
        else:
            text = text.replace(east, 'crs = "EPSG:32633"')
        (job / name).write_text(text, encoding="utf-8")
    for name in ("control.csv", "utilities.csv"):
        text = (job / "job.toml").read_text(encoding="utf-8")
        key = name.removesuffix(".csv")
        text = text.replace(f'{key} = "{name}"', f'{key} = ""')
        (job / "job.toml").write_text(text, encoding="utf-8")
    move_shots(job, 450000.0, 5800000.0)
    lath("run", str(job))
    file = next((job / "out").glob("*/day.html"), None)
    if file is None:
        say("the job on a known grid has no page")
        return
    page.open(file)
    wanted = (455400.0, 5803160.0)
    longitude, latitude = Transformer.from_crs(32633, 4326, always_xy=True).transform(*wanted)
    page.chrome("Emulation.setGeolocationOverride", latitude=latitude, longitude=longitude,
                accuracy=6)  # fmt: skip
    page.run('document.getElementById("me").click()')
    time.sleep(1.0)
    east, north = (float(x) for x in re.findall(r"[\d.]+", page.run(READ)["grid"]))
    off = ((east - wanted[0]) ** 2 + (north - wanted[1]) ** 2) ** 0.5
    tell(f"where am I: {off * 1000:.1f} mm from PROJ")
    if off > 0.01:
        say(f"where am I is {off:.2f} m off")


def move_shots(job: Path, east: float, north: float) -> None:
    """The demo's morning on another origin; hubs are left out."""
    folder = next((job / "shots").iterdir())
    (folder / "hubs.csv").unlink()
    lines = (folder / "morning.csv").read_text(encoding="utf-8-sig").splitlines()
    start = next(k for k, line in enumerate(lines) if "easting" in line)
    header = lines[start].split(",")
    columns = ((header.index("easting"), east), (header.index("northing"), north))
    for k in range(start + 1, len(lines)):
        cells = lines[k].split(",")
        for column, shift in columns:
            with suppress(ValueError):
                cells[column] = f"{float(cells[column]) + shift:.3f}"
        lines[k] = ",".join(cells)
    (folder / "morning.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def check_widths(
    page: Browser, file: Path, pictures: Path | None, say: Callable[[str], None]
) -> None:
    """No sideways scrolling, and nothing to touch that is smaller than a gloved finger."""
    small = """
    return [...document.querySelectorAll("button, a, input:not([type=checkbox]), select, label")]
      .filter((one) => one.offsetParent && !one.matches(".skip"))
      .map((one) => [one.textContent || one.id, one.getBoundingClientRect()])
      .filter(([, box]) => box.height < 63.5 || box.width < 59.5)
      .map(([name, box]) => `${name} ${box.width} x ${box.height}`);
    """
    for width, height in WIDTHS:
        page.open(file, width, height)
        page.run(
            'document.getElementById("station").value = "0+120";'
            'document.getElementById("offset").value = "L 3.5";'
            'document.getElementById("find").requestSubmit();'
        )
        time.sleep(0.3)
        wide = page.run("return document.documentElement.scrollWidth")
        if wide > width:
            say(f"{width} px: the page is {wide} px wide")
        for name in page.run(small):
            say(f"{width} px: too small to touch: {name}")
        if pictures is not None:
            page.picture(pictures / f"day-{width}.png")


def check_print(page: Browser, file: Path, say: Callable[[str], None]) -> None:
    """On paper there are the lists and the numbers, and nothing to press."""
    from io import BytesIO

    from pypdf import PdfReader

    page.open(file)
    page.run(TAP, 190, 200)
    paper = base64.b64decode(page.chrome("Page.printToPDF", printBackground=True)["data"])
    pages = PdfReader(BytesIO(paper)).pages
    said = " ".join("".join(one.extract_text() for one in pages).split())
    for wanted in ("A person has to look", "Buried things", "Figures of the day", "Caution"):
        if wanted not in said:
            say(f"on paper: {wanted!r} is missing")
    if "Zoom in" in said or "Whole street" in said:
        say("on paper: there are buttons")
    tell(f"on paper: {len(pages)} pages")
    check_calm(page, [file], say)


def check_speed(page: Browser, file: Path, what: str, say: Callable[[str], None]) -> float:
    """Seconds from the start of loading until a tap is answered, the processor slowed down."""
    page.chrome("Emulation.setCPUThrottlingRate", rate=SLOWER)
    page.open(file)
    # the first tap sorts the triangles; the driver's own delay between the two is not counted
    spent = page.run(
        "const begun = performance.now();"
        + TAP
        + "const [loading] = performance.getEntriesByType('navigation');"
        "return loading.domComplete + performance.now() - begun",
        190,
        240,
    )
    page.chrome("Emulation.setCPUThrottlingRate", rate=1)
    if page.run(READ)["grid"] == "":
        say(f"{what}: the tap was not answered")
    seconds = float(spent) / 1000
    size = file.stat().st_size / 1e6
    # told and not failed: the figure is of this machine and of whatever else it does just now
    bar = "within" if seconds <= USABLE_S else "OVER"
    tell(
        f"{what}: {size:.2f} MB, answered after {seconds:.2f} s, {SLOWER}x slower,"
        f" {bar} the {USABLE_S:g} s of a quiet machine"
    )
    return seconds


AXE = {"rules": {"color-contrast-enhanced": {"enabled": True}}}
"""All of axe-core's rules, and contrast of 7:1, which is off by default (WCAG 2.2, 1.4.6)."""


def check_axe(page: Browser, source: str, say: Callable[[str], None]) -> None:
    """axe-core's own rules, bright and dark; the browser puts it in, past the page's policy."""
    for screen in ("bright", "dark"):
        run_axe(page, source, screen, say)
        page.run('document.getElementById("light").click()')


def run_axe(page: Browser, source: str, screen: str, say: Callable[[str], None]) -> None:
    page.chrome("Runtime.evaluate", expression=source)
    found = page.call(
        "POST", "/execute/async",
        {"script": f"axe.run(document, {json.dumps(AXE)}).then(arguments[0])", "args": []},
    )  # fmt: skip
    tell(f"axe, {screen}: {len(found['passes'])} rules passed, {len(found['violations'])} not")
    if not any(one["id"] == "color-contrast-enhanced" for one in found["passes"]):
        say(f"axe, {screen}: contrast of 7:1 was not checked")
    for one in found["violations"]:
        say(f"axe {screen} {one['impact']}: {one['id']}: {one['nodes'][0]['html'][:160]}")


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--axe", type=Path)
    parser.add_argument("--large", type=Path, help="a page with 200 000 triangles")
    parser.add_argument("--page", type=Path, help="a page made already, of --job")
    parser.add_argument("--job", type=Path)
    wanted = parser.parse_args()
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as folder, browser() as page:
        job = wanted.job or Path(folder) / "street"
        said = lath("demo", str(job)) if wanted.page is None else ""
        file = wanted.page or next((job / "out").glob("*/day.html"), None)
        if file is None:
            tell(said)
            tell("the package has no day.html")
            return 1
        file = file.resolve()
        # no signal: what the page needs it has
        page.chrome("Network.enable")
        page.chrome(
            "Network.emulateNetworkConditions",
            offline=True, latency=0, downloadThroughput=0, uploadThroughput=0,
        )  # fmt: skip
        page.open(file)
        check_reckoning(file, job, wrong.append)
        check_stations(file, job, wrong.append)
        check_taps(page, job, wrong.append)
        check_keys(page, wrong.append)
        check_fingers(page, wrong.append)
        check_calm(page, [file], wrong.append)
        if wanted.axe:
            check_axe(page, wanted.axe.read_text(encoding="utf-8"), wrong.append)
        check_widths(page, file, wanted.pictures, wrong.append)
        check_speed(page, file, "demo", wrong.append)
        if wanted.large:
            check_speed(page, wanted.large.resolve(), "200 000 triangles", wrong.append)
        check_calm(page, [file, *([wanted.large.resolve()] if wanted.large else [])], wrong.append)
        check_print(page, file, wrong.append)
        check_hostile(page, Path(folder), wrong.append)
        check_position(page, Path(folder), wrong.append)
    for line in wrong:
        tell(f"WRONG  {line}")
    tell("all well" if not wrong else f"{len(wrong)} things are wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
