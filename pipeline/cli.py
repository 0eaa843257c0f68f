"""The command line: thin, and quick to say what it can do; heavy imports are inside commands."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import click

from pipeline import __version__
from pipeline.errors import LathError
from pipeline.options import FOLDER, NUMBER, STATION, as_json, fresh, of_day
from pipeline.running import HELD, run_and_say, run_many_and_say
from pipeline.terminal import Lath, as_text, complain, say, say_clock, stopwatch, telling

# a street's sums are small: threads of the linear algebra cost more than they save, and the
# order in which they add up would be another source of difference between two machines
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@click.group(cls=Lath, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="lath")
def main() -> None:
    """From the morning's shots to the numbers on the lath.

    \b
    Example:
      lath demo street
      lath run street --day 2026-05-14

    \b
    Exit codes: 0 done; 1 ended by Ctrl-C, or its words could not be printed; 2
    mistyped command; 3 an input or the design cannot be used, nothing written; 4 a
    finding stops the day until a person has settled it.
    """  # noqa: D301  # click's \b keeps lines apart


@main.command()
@click.argument("folder", type=FOLDER, default=Path("lath-demo"))
@click.option(
    "--kind", type=click.Choice(["street", "intersection"]), default="street", show_default=True,
    help="One street, or two with curb returns and a bulb.",
)  # fmt: skip
@as_json
@fresh
def demo(folder: Path, kind: str, json_wanted: bool) -> None:
    """Lay down the invented job in FOLDER and run it.

    \b
    Example:
      lath demo street
      lath demo corner --kind intersection
    """  # noqa: D301
    from pipeline.demo import lay_down

    lay_down(folder, kind)
    if not json_wanted:
        say(f"Laid down the invented job in {folder}/")
    run_and_say(folder, None, None, json_wanted)


@main.command()
@click.argument("job", type=FOLDER)
@of_day
@click.option("--out", type=FOLDER, help="Where packages go; JOB/out if not given.")
@click.option("--pictures", is_flag=True, help="Plan, profile and sections as PNG and SVG, too.")
@click.option("--cluster", help="Address of a Dask scheduler, or local: work is done there.")
@as_json
@fresh
def run(
    job: Path,
    day: str | None,
    out: Path | None,
    pictures: bool,
    cluster: str | None,
    json_wanted: bool,
) -> None:
    """Make the crew's package from the morning's shots.

    JOB may be a folder of jobs: each is run by itself, one after the other, to DIR/its name if
    --out DIR is given. With --cluster jobs, and the pieces of a scan above 2 million points, are
    worked on by the workers there; the packages have the same bytes.

    \b
    Example:
      lath run street --day 2026-05-14
      lath run streets --cluster tcp://10.0.0.5:8786
    """  # noqa: D301
    from pipeline.cluster import working_on
    from pipeline.many import jobs_in

    with working_on(cluster):
        jobs = jobs_in(job)
        if not jobs:
            run_and_say(job, day, out, json_wanted, pictures=pictures)
        if pictures:
            raise click.UsageError("--pictures takes one job")
        run_many_and_say(jobs, day, out, json_wanted)


@main.command("watch")
@click.argument("job", type=FOLDER)
@click.option("--day", help="Only this day; any that gets new files if not given.")
@click.option("--out", type=FOLDER, help="Where packages go; JOB/out if not given.")
@click.option("--every", type=NUMBER, default=2.0, show_default=True, help="Look every so many s.")
@as_json
def watch_command(
    job: Path, day: str | None, out: Path | None, every: float, json_wanted: bool
) -> None:
    """Run the day again whenever new shots are laid in its folder.

    A file that is still being copied is waited for. A refusal or a stop is printed, and the
    watch goes on. Ctrl-C ends it.

    \b
    Example:
      lath watch street
    """  # noqa: D301
    from pipeline.kept.calls import keeping
    from pipeline.watching import Watch, watch

    if not every > 0:
        raise click.UsageError("--every takes a number of seconds above zero")

    def run_one(of: str) -> None:
        say_clock(f"running {of}")
        try:
            with keeping():
                run_and_say(job, of, out, json_wanted)
        except LathError as refusal:
            complain(f"lath: {refusal}")
        except OSError as fault:
            # a full disk takes the words as well; the watch goes on all the same
            complain(f"lath: the words of this run: {fault.strerror or fault}")
        except SystemExit:
            # the code of a run that was done or held; a watch goes on after both
            pass
        say_clock("watching on")

    try:
        say_clock(f"watching {job}, Ctrl-C ends it")
        watch(Watch(job, out or job / "out", day, say_clock), every, run_one)
    except KeyboardInterrupt:
        say_clock("watch ended")


@main.command()
@click.argument("job", type=FOLDER)
@of_day
@as_json
@fresh
def check(job: Path, day: str | None, json_wanted: bool) -> None:
    """Read and check everything; write nothing.

    \b
    Example:
      lath check street
    """  # noqa: D301
    from pipeline import objects, publish, saying
    from pipeline.crew.summary import words
    from pipeline.run import run_day

    watch = stopwatch()
    result = publish.complete(run_day(job, day, watch))
    if json_wanted:
        say(as_text(objects.run_object(result, None, watch.seconds)))
    else:
        say("\n".join(words(saying.summary_of(result))))
        say("Nothing written.")
    sys.exit(HELD if result.held else 0)


@main.command()
@click.argument("out", type=FOLDER)
@click.option("--job", type=FOLDER, help="The job folder that it should have been made from.")
@as_json
def verify(out: Path, job: Path | None, json_wanted: bool) -> None:
    """Prove that a package is whole, unaltered and, with --job, made from these inputs.

    OUT is a package, or the folder of packages: then each of them. Every file is held against
    its SHA-256 in the manifest. With --job the package is made again from the inputs as they
    are now and compared to the byte; nothing is written. Ends with 4 if it is not proven.

    \b
    Example:
      lath verify street/out/2026-05-14
      lath verify street/out --job street
    """  # noqa: D301
    from pipeline import proof

    proofs = [proof.prove(folder, job, stopwatch()) for folder in proof.packages_in(out)]
    if json_wanted:
        say(as_text([proof.proof_object(one) for one in proofs]))
    else:
        say("\n\n".join("\n".join(proof.proof_words(one)) for one in proofs))
    sys.exit(0 if all(one.good for one in proofs) else HELD)


@main.command()
@click.argument("job", type=FOLDER)
@of_day
@click.option("--station", type=STATION, help="Station: 123.4, 0+123.4, '1+220 (2)' in region 2.")
@click.option("--offset", type=NUMBER, default=None, help="Offset [m], right +, left -.")
@click.option("--east", type=NUMBER, help="Easting on the job grid [m].")
@click.option("--north", type=NUMBER, help="Northing on the job grid [m].")
@click.option("--elev", type=NUMBER, help="Elevation there [m], instead of today's ground.")
@as_json
@fresh
def at(  # noqa: PLR0913, PLR0917  # one parameter an option is click's way
    job: Path,
    day: str | None,
    station: str | None,
    offset: float | None,
    east: float | None,
    north: float | None,
    elev: float | None,
    json_wanted: bool,
) -> None:
    """The design at a place: every layer, with the cut or fill.

    \b
    Example:
      lath at street --station 0+120 --offset -3.5
      lath at street --east 5210.4 --north 8120.9 --elev 102.31
    """  # noqa: D301
    from pipeline import objects, saying
    from pipeline.lookup import place_on_grid, place_on_line

    if station is not None and east is None and north is None:
        place = place_on_line(job, day, (station, offset or 0.0), elev)
    elif east is not None and north is not None and station is None and offset is None:
        place = place_on_grid(job, day, (east, north), elev)
    else:
        raise click.UsageError("give --station (and --offset), or --east and --north")
    if json_wanted:
        say(as_text(objects.place_object(place)))
    else:
        say("\n".join(saying.place_words(place)))
    sys.exit(HELD if place.held else 0)


@main.command()
@click.argument("files", nargs=-1, required=True, type=FOLDER)
@click.option(
    "--to", type=click.Choice(["csv", "geojson", "geopackage", "landxml"]), help="Write it so, too."
)
@click.option("--out", type=FOLDER, help="Where to; FILE's name with a new ending if not given.")
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
@click.option("--unit", type=click.Choice(["m", "ft", "ftUS"]), help="Where the file says none.")
@click.option("--columns", help="Of a table: id,northing,easting,elevation or northing=X,...")
@click.option("--surface", help="Which surface of the file is ground, for --to.")
@click.option("--classes", help="Of a scan, for --to: 2,8 or all; the ground if not given.")
@click.option("--crs", default="", help="Where the file says none, for --to geojson.")
@as_json
def read(files: tuple[Path, ...], **options: Any) -> None:
    """What is in each of FILES: counts, extents, units, coordinate system, oddities.

    Points as text, sightings, levels, satellite positions, LandXML, LAS, LAZ, DXF. Numbers
    are in the file's own unit. With --to it is written in metres as well.

    \b
    Example:
      lath read scan.laz terrain.xml
      lath read shots.txt --unit ft --columns id,northing,easting,elevation,code --to csv
    """  # noqa: D301
    from pipeline import readout

    try:
        asked, wanted = readout.wishes(options, len(files))
    except ValueError as error:
        raise click.UsageError(str(error)) from None
    told = []
    for path in files:
        with telling(path) as tell:
            told.append(readout.read_file(path, asked, wanted, tell))
        if not options["json_wanted"] and (words := readout.told_words(told[-1])):
            say("\n".join(words))
        if told[-1].refusal:
            complain(f"lath: {told[-1].refusal}")
    objects = [readout.told_object(one) for one in told]
    if options["json_wanted"] and (len(told) > 1 or told[0].description):
        say(as_text(objects if len(told) > 1 else objects[0]))
    sys.exit(max(one.refusal.exit_code if one.refusal else 0 for one in told))


@main.command()
@click.argument("job", type=FOLDER)
@of_day
@click.option("--spread", type=NUMBER, help="Cement spread [kg/m2], instead of the job's.")
@click.option("--lot", help="The lot that --spread is meant for; all of them if not given.")
@click.option("--equal-costs", is_flag=True, help="As if too high and too low cost the same.")
@as_json
@fresh
def pregrade(job: Path, day: str | None, json_wanted: bool, **options: Any) -> None:
    """The height to leave the clay at, and what it costs to be wrong.

    A recommendation from a mass balance of clay, cement and water, with its range and what
    it rests on; the crew decides. Without costs in the job file it says the rise, and no more.
    With --spread: the new target, the change in cm, and loads to haul off or bring in, by
    stretch.

    \b
    Example:
      lath pregrade street
      lath pregrade street --spread 22
    """  # noqa: D301
    from pipeline import earthworks, objects, pregrading, saying
    from pipeline.run import run_day

    asked = pregrading.Asked(options["spread"], options["lot"], options["equal_costs"])
    result = run_day(job, day, stopwatch())
    height, haul = earthworks.pregrade_asked(result, asked)
    if json_wanted:
        say(as_text(objects.pregrade_object(result, height, haul)))
    else:
        say("\n".join(saying.pregrade_words(height, haul, held=result.held)))
    sys.exit(HELD if result.held else 0)


@main.command("compare-days")
@click.argument("job", type=FOLDER)
@click.argument("before")
@click.argument("after")
@as_json
@fresh
def compare_days(job: Path, before: str, after: str, json_wanted: bool) -> None:
    """What moved between two mornings, sure or within the noise.

    \b
    Example:
      lath compare-days street 2026-05-14 2026-05-15
    """  # noqa: D301
    if before == after:
        raise click.UsageError("give two days: a day agrees with itself")
    from pipeline import publish_days
    from pipeline.run import run_day

    watch = stopwatch()
    days = run_day(job, before, watch), run_day(job, after, watch)
    if json_wanted:
        say(as_text(publish_days.change_object(*days)))
    else:
        sentences, _ = publish_days.change_words(*days)
        say("\n".join(sentences))


@main.command("layout")
@click.argument("job", type=FOLDER)
@click.option("--out", type=FOLDER, help="Where the folder layout goes; JOB/out if not given.")
@as_json
def layout_command(job: Path, out: Path | None, json_wanted: bool) -> None:
    """The points to set before anybody shoots: hubs, curve points, high and low points.

    Hubs stand at the interval of the job, 10 m if it states none, and closer on curves:
    a chord of length s leaves an arc of radius R by m = s^2 / 8R, so s = sqrt(8 R m), R at
    the hubs; on a vertical curve s = sqrt(800 K m), K in metres a percent. layout.sagitta_m
    is m in plan, 0.020 if not stated, layout.sagitta_height_m in height, 0.005. The next
    lower of the interval over 1, 2, 4, 5, 10 and so on is taken. No point is driven nearer
    to a recorded thing than layout.utility_clear_m; that is no locate.

    \b
    Example:
      lath layout street
      lath layout street --json
    """  # noqa: D301
    from pipeline import setting_out

    result = setting_out.set_out(job)
    folder = setting_out.deliver(result, out)
    if json_wanted:
        say(as_text(setting_out.layout_object(result, folder)))
    else:
        say("\n".join(setting_out.layout_words(result, folder)))


if __name__ == "__main__":
    main()
