"""An invented street with a known truth, and the job folder that a crew would have of it.

    line, section, ground    the true geometry, by mathematics of its own
    known, shots             what is set, buried and shot, honest flaws included
    texts, folder            the files, and laying them down
    truth                    all that is known about the scenario, for tests

Nothing here imports ``pipeline.design``, ``pipeline.surface`` or
``pipeline.compare``: the demo is what they are measured against. Every name,
height and coordinate is made up; the files are plain text and the same bytes
every time.
"""

from pipeline.demo.folder import lay_down

__all__ = ["lay_down"]
