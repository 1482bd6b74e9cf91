"""Every command with an output that takes nothing, is closed, or lacks the letters.

    python tests/benchmarks/outputs.py
    python tests/benchmarks/outputs.py log progress      commands that begin with these words

Each is run as a process of its own with standard output to /dev/full, to a pipe that nobody
reads, closed, and in the encodings ASCII, cp1252 and Latin-1. It must end with status 0 or 1 where
its answer can be printed in some way, and 2 with one line where it cannot; no traceback, nothing
that Python prints of itself, and no command may forget what it kept. Names with accents and
the minus sign are in what is printed.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from commandline import commands

FRINGE = Path(sys.executable).with_name("fringe")
# What is run once, before and in the folder of all the others.
SET_UP = """
synth --out a.png --power -4 --size 420 --seed 3
synth --out t0.png --power 2 --tilt 2 --astigmatism 0.4 --angle 0 --size 420 --seed 1
synth --out t90.png --power 2 --tilt 2 --astigmatism 0.4 --angle 90 --size 420 --seed 2
synth --out rings.png --power 4 --pair press --size 420 --seed 7
instrument add plate shop P7 --form convex --diameter 160mm --radius "3048.60 +- 0.40 mm (k=2)"
surface add shop "Hohlfläche 1" --form concave --radius 3048mm --diameter 150mm --plate P7 \
--lamp sodium --tolerance-power 2
surface add shop "Buckel 1" --form convex --radius 3048mm --diameter 150mm --lamp sodium
log "shop/Hohlfläche 1" a.png --sense edge
log "shop/Hohlfläche 1" --stage polish --minutes 20 --on-top tool --by-eye "rings 2 edge" \
--lamp sodium
log "shop/Buckel 1" --by-eye "rings 1 centre" --lamp sodium --remark "naß – ½ Stunde"
export "shop/Hohlfläche 1" out.h5
"""
# One call of every command; `@` is a new name each time.
CALLS = """
read a.png --lamp sodium --sense edge --diameter 150mm --plate-radius 3048mm
sense rings-before.png rings-after.png --change pressed-centre --lamp sodium
synth --out @.png --power 2 --size 300
sag --plate 808um,807.5um --work 793um,793um --plate-radius 3048mm
convert --fringes -3 --radius 3048mm --diameter 150mm --lamp sodium
tolerance --power 3 --radius 3048mm --diameter 150mm --lamp sodium
budget "shop/Hohlfläche 1" --trials 0
instrument add lamp shop @ --line 589.3:1:0.1 --source 'a book'
instrument add camera shop @ --distance 600mm
instrument add plate shop @ --form convex --radius 100mm --diameter 50mm
instrument add spherometer shop @ --foot-circle 140mm --ball 6.35mm
instrument list shop
instrument show shop plate P7
plate log shop/P7 --radius "3048.60 +- 0.30 mm (k=2)" --certified 2025-09-14 --yes
plate show shop/P7
plate surfaces shop/P7
plate adopt shop/P7
lamps
glasses
surface add shop @ --form convex --radius 500mm --diameter 40mm
surface change "shop/Buckel 1" --note @
surface list shop
surface show "shop/Hohlfläche 1"
surfaces shop --next
log "shop/Buckel 1" --remark @
log "shop/Buckel 1" --by-eye "rings 1.5 edge" --lamp sodium --stage polish --minutes 5
log "shop/Buckel 1" --replaces 1 --remark @
progress "shop/Hohlfläche 1"
plan "shop/Hohlfläche 1"
settle a.png a.png a.png --lamp sodium --sense edge --times 0,20,40
turning t0.png t90.png --turned 0deg --turned 90deg --lamp sodium --sense centre
pair "shop/Buckel 1" "shop/Hohlfläche 1"
report "shop/Hohlfläche 1" --out @.html
check shop
check shop --since-last
reread "shop/Hohlfläche 1"
export "shop/Hohlfläche 1" @.csv
import out.h5 @
help job
help record
"""
# watch and bench run until they are stopped, demo runs the others
NOT_RUN = {"watch", "bench", "demo", "instrument", "instrument add", "surface", "plate"}
MOVES = "surface move"  # each time there is none left to move; run once by itself
ENCODINGS = ("ascii", "cp1252", "latin-1")
OUTPUTS = ("full", "pipe", "closed", *ENCODINGS)


def run(words: list[str], output: str) -> tuple[int, str]:
    """Run a command with an output of that kind; status and what it says of it."""
    call = [str(FRINGE), *words]
    env = dict(os.environ)
    if output in ENCODINGS:
        env["PYTHONIOENCODING"] = output
        done = subprocess.run(call, env=env, capture_output=True)
    elif output == "closed":
        done = subprocess.run(["sh", "-c", f"{shlex.join(call)} >&-"], capture_output=True)
    elif output == "full":
        with open("/dev/full", "w") as full:
            done = subprocess.run(call, stdout=full, stderr=subprocess.PIPE)
    else:
        end, start = os.pipe()
        os.close(end)
        done = subprocess.run(call, stdout=start, stderr=subprocess.PIPE)
        os.close(start)
    return done.returncode, done.stderr.decode("utf-8", "replace")


def problem(words: list[str], output: str) -> str | None:
    """What is wrong with how a command ended."""
    status, err = run(words, output)
    lines = err.splitlines()
    if "Traceback" in err or "Exception ignored" in err or "Error:" in err:
        return f"status {status}: {lines[-1]}"
    if output in ENCODINGS:
        return None if status in (0, 1) else f"status {status}: {err.strip()}"
    kept = words[0] in ("log", "plate") and output != "closed"
    if (status == 0 and kept) or (status == 2 and any(one.startswith("fringe: ") for one in lines)):
        return None
    return f"status {status}: {err.strip()}"


def typed(text: str) -> list[list[str]]:
    """The words of each line."""
    return [shlex.split(line) for line in text.strip().splitlines()]


def main() -> None:
    """Run them all and print what was found."""
    calls = typed(CALLS)
    joined = [" ".join(one) for one in calls]
    missing = [
        name
        for name in commands()
        if name not in NOT_RUN and name != MOVES and not any(j.startswith(name) for j in joined)
    ]
    assert not missing, missing
    wanted = sys.argv[1:]
    found = ran = 0
    with tempfile.TemporaryDirectory() as place:
        os.chdir(place)
        for words in typed(SET_UP):
            subprocess.run([FRINGE, *words], check=True, stdout=subprocess.DEVNULL)
        for words in calls:
            if wanted and words[0] not in wanted:
                continue
            for output in OUTPUTS:
                ran += 1
                named = [one.replace("@", f"new-{ran}") for one in words]
                wrong = problem(named, output)
                if wrong is not None:
                    found += 1
                    print(f"{output}: fringe {shlex.join(named)}: {wrong}", flush=True)
        assert run(["check", "shop"], "ascii")[0] == 0
        os.chdir("/")
    print(f"{ran} runs of {len(calls)} commands, {found} findings")
    sys.exit(bool(found))


if __name__ == "__main__":
    main()
