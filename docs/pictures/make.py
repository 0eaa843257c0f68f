"""The pictures that README and the pages show, made by the demo.

.venv/bin/python docs/pictures/make.py

Needs matplotlib; the phone's picture also chromium and chromedriver, and stays as it is
without them. A test holds each file under 200 kB.
"""

from __future__ import annotations

import importlib.util
import io
import shutil
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path.insert(0, str(ROOT))
SHADES = 200
"""So many shades are enough for lines and flat colours, and make a file a third the size."""
PHONE_PX = (390, 1060)


def small(content: bytes, name: str, width: int, box: tuple[float, float, float, float]) -> None:
    """Cut `content` to `box` (shares of its size), make it `width` wide, and keep it."""
    from PIL import Image

    with Image.open(io.BytesIO(content)) as whole:
        wide, high = whole.size
        part = whole.convert("RGB").crop(
            (int(box[0] * wide), int(box[1] * high), int(box[2] * wide), int(box[3] * high))
        )
    height = round(part.height * width / part.width)
    part = part.resize((width, height), Image.Resampling.LANCZOS)
    few = part.quantize(SHADES, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(HERE / f"{name}.png", optimize=True)


def sheet(path: Path, name: str) -> bytes:
    """One sheet of a drawing as a picture, by ezdxf's own drawing add-on."""
    import ezdxf
    import matplotlib as mpl
    from ezdxf.addons.drawing import Frontend, RenderContext
    from ezdxf.addons.drawing.config import BackgroundPolicy, Configuration, LineweightPolicy
    from ezdxf.addons.drawing.matplotlib import MatplotlibBackend
    from matplotlib.figure import Figure

    mpl.use("Agg")
    document = ezdxf.readfile(path)
    figure = Figure(figsize=(16.5, 11.7))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    look = Configuration(
        background_policy=BackgroundPolicy.WHITE,
        lineweight_policy=LineweightPolicy.RELATIVE,
        lineweight_scaling=0.6,
    )
    frontend = Frontend(RenderContext(document), MatplotlibBackend(axes), config=look)
    frontend.draw_layout(document.paperspace(name), finalize=True)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=140)
    return stream.getvalue()


def phone(page: Path) -> bytes | None:
    """The page on a phone, a place asked for; None without a browser."""
    if not (shutil.which("chromium") and shutil.which("chromedriver")):
        return None
    path = ROOT / "tests" / "browser" / "check_page.py"
    spec = importlib.util.spec_from_file_location("check_page", path)
    check_page = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(check_page)
    with check_page.browser() as browser, tempfile.TemporaryDirectory() as folder:
        browser.open(page, *PHONE_PX)
        # the picture is of the morning of the shots, so nothing is said of their age
        browser.run('document.getElementById("age").hidden = true')
        browser.run(
            'document.getElementById("station").value = "0+180";'
            'document.getElementById("offset").value = "L 3.00";'
            'document.getElementById("find").requestSubmit();'
        )
        browser.picture(Path(folder) / "phone.png")
        return first_screen((Path(folder) / "phone.png").read_bytes())


def first_screen(content: bytes) -> bytes:
    """What of a long picture is seen before anybody scrolls."""
    from PIL import Image

    with Image.open(io.BytesIO(content)) as whole:
        part = whole.crop((0, 0, whole.width, round(whole.width * PHONE_PX[1] / PHONE_PX[0])))
    stream = io.BytesIO()
    part.save(stream, format="png")
    return stream.getvalue()


def main() -> None:
    """Run the demo and draw."""
    from pipeline import publish
    from pipeline.demo import lay_down
    from pipeline.publish_pictures import pictures
    from pipeline.run import Stopwatch, run_day

    whole = (0.0, 0.0, 1.0, 1.0)
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "street"
        lay_down(job)
        day = publish.complete(run_day(job, None, Stopwatch()))
        package = publish.deliver(day, None).folder
        drawn = pictures(day, publish.plan_words(day))
        small(drawn["profile.png"], "profile", 1000, whole)
        small(drawn["sections-1.png"], "sections", 1000, (0.0, 0.0, 1.0, 0.5))
        for name, title in (("sheet", "A3 sheet 1 of 1"), ("side", "A3 profile 1 of 3")):
            small(sheet(package / "cutfill.dxf", title), name, 1200, whole)
        shot = phone(package / "day.html")
        if shot is not None:
            small(shot, "phone", 390, whole)


if __name__ == "__main__":
    main()
