"""An invented street with a known truth, and the job folder that a crew would have of it.

    line, section, ground    the true geometry, by mathematics of its own
    known, plan, shots       what is set, buried and shot, with the noise of measuring
    slips                    the flaws put in on purpose, each listed
    intersection...          the other job: two streets, returns and a bulb
    cells, texts, folder     the files, and laying them down
    truth                    all that is known about the scenario, for tests

Nothing here imports ``pipeline.design``, ``pipeline.surface`` or
``pipeline.compare``: the demo is what they are measured against. Every name,
height and coordinate is made up; the files are plain text and the same bytes
every time.
"""

from pipeline.demo.folder import lay_down

__all__ = ["lay_down"]
