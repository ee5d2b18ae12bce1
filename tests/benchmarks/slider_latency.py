"""Measure in a real browser how fast a notebook's picture follows its slider.

    python tests/benchmarks/slider_latency.py [NOTEBOOK] [LABEL] [--steps 40] [--naive OTHER.ipynb]

With --naive the two notebooks stand in two browsers at once and take turns step by step, so
that whatever else the machine does hits both alike.
"""

import argparse
import statistics
import sys
import time
from contextlib import ExitStack
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from browser import Lab, chromium_path, find_slider, press

ROOT = Path(__file__).resolve().parents[2]
MOVES, SECONDS = 60, 2.0

# Notes the time of every key and pointer event, of every picture when it is on the screen, and
# for each frame whether the output with the slider holds a picture and how tall it is.
HOOK = """(() => {
  const seen = window.__seen = {paints: [], keys: [], moves: [], shift: 0, frames: null};
  const painted = () => requestAnimationFrame(() => {
    const after = new MessageChannel();
    after.port1.onmessage = () => seen.paints.push(performance.now());
    after.port2.postMessage(0);
  });
  document.addEventListener('load', e => {  // the window itself hears no picture load
    if (e.target.tagName === 'IMG' && e.target.closest('.jp-OutputArea')) painted();
  }, true);
  addEventListener('keydown', e => seen.keys.push(e.timeStamp), true);
  addEventListener('pointermove', e => { if (e.buttons) seen.moves.push(e.timeStamp); }, true);
  new PerformanceObserver(list => { for (const e of list.getEntries()) seen.shift += e.value; })
    .observe({type: 'layout-shift'});
  window.__watch = handle => {
    const output = handle.closest('.jp-OutputArea-output');
    seen.frames = [];
    const look = () => {
      if (!seen.frames) return;
      const shown = [...output.querySelectorAll('img')].some(
        i => i.complete && i.naturalWidth > 0 && i.getBoundingClientRect().width > 100);
      seen.frames.push([shown, Math.round(output.getBoundingClientRect().height)]);
      requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
  };
})()"""
CLEAR = "() => Object.assign(__seen, {paints: [], keys: [], moves: [], shift: 0})"
# Resolves with the first picture after the key; the pause lets late ones end before the next step.
FIRST_PAINT = """async limit => {
  const until = performance.now() + limit, pause = ms => new Promise(r => setTimeout(r, ms));
  while (!__seen.paints.length && performance.now() < until) await pause(5);
  const first = __seen.paints[0];
  await pause(120);
  return first === undefined ? null : first - __seen.keys[0];
}"""
QUIET = """async wait => {
  const pause = ms => new Promise(r => setTimeout(r, ms));
  let count = -1;
  while (count !== __seen.paints.length) { count = __seen.paints.length; await pause(wait); }
  const {paints, moves, shift, frames} = __seen;
  __seen.frames = null;
  return {paints, moves, shift, frames};
}"""
TRACK = "e => { const b = e.closest('.noUi-target').getBoundingClientRect(); return [b.left, b.right]; }"


class Panel:
    """One notebook in one browser, with its slider."""

    def __init__(self, lab, label):
        self.lab, self.page = lab, lab.page
        self.handle = find_slider(lab.page, label)
        self.handle.scroll_into_view_if_needed()
        lab.page.wait_for_timeout(1000)
        self.times, self.missed = [], 0

    def step(self, key, keep=True):
        """Press a key once and note the time to the new picture."""
        self.page.evaluate(CLEAR)
        press(self.page, self.handle, key)
        taken = self.page.evaluate(FIRST_PAINT, 5000)
        if not keep:
            return
        if taken is None:
            self.missed += 1
        else:
            self.times.append(taken)

    def drag(self):
        """Drag the handle along its track in many small moves; return what was seen."""
        page, box = self.page, self.handle.bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        left, right = self.handle.evaluate(TRACK)
        goal = right - 4 if x < (left + right) / 2 else left + 4
        page.mouse.move(x, y)
        page.mouse.down()
        page.evaluate(CLEAR)
        page.evaluate("handle => __watch(handle)", self.handle)
        start = time.monotonic()
        for move in range(1, MOVES + 1):
            page.mouse.move(x + (goal - x) * move / MOVES, y)
            time.sleep(max(0.0, start + move * SECONDS / MOVES - time.monotonic()))
        seen = page.evaluate(QUIET, 700)
        page.mouse.up()
        return seen


def percentile(values, share):
    """Return the value that `share` of the values do not exceed."""
    ordered = sorted(values)
    return ordered[round(share * (len(ordered) - 1))]


def show_steps(name, panel):
    """Print one line on the single key presses."""
    if not panel.times:
        print(f"{name}: no picture followed any key")
        return
    middle, late = statistics.median(panel.times), percentile(panel.times, 0.95)
    count = len(panel.times)
    print(f"{name}: key -> picture {middle:.0f} ms, p95 {late:.0f} ms ({count} steps, {panel.missed} missed)")


def show_drag(name, seen):
    """Print one line on a drag."""
    shown, heights = zip(*seen["frames"], strict=True)
    changes = sum(a != b for a, b in zip(heights, heights[1:], strict=False))
    tail = seen["paints"][-1] - seen["moves"][-1] if seen["paints"] and seen["moves"] else float("nan")
    print(
        f"{name}: {len(seen['moves'])} moves in {SECONDS:.0f} s -> {len(seen['paints'])} pictures, "
        f"last one {tail:.0f} ms after the last move, {shown.count(False)} blank of {len(shown)} frames, "
        f"{changes} height changes, layout shift {seen['shift']:.4f}"
    )


def measure(notebooks, label, steps):
    """Take turns between the notebooks and print what was measured."""
    with ExitStack() as stack:
        panels = {}
        for name, path in notebooks.items():
            root = ROOT if path.resolve().is_relative_to(ROOT) else path.resolve().parent
            panels[name] = Panel(stack.enter_context(Lab(path, root, hook=HOOK)), label)
            print(f"{name}: {path.name}, seconds from start: {panels[name].lab.seconds}")
        for step in range(-3, steps):  # the first three warm up
            key = "ArrowRight" if step // 10 % 2 == 0 else "ArrowLeft"
            for panel in panels.values():
                panel.step(key, keep=step >= 0)
        for name, panel in panels.items():
            show_steps(name, panel)
        for _ in range(2):
            for name, panel in panels.items():
                show_drag(name, panel.drag())
        if len(panels) == 2 and all(panel.times for panel in panels.values()):
            ours, theirs = (statistics.median(panel.times) for panel in panels.values())
            print(f"ratio of the medians: {ours / theirs:.2f}")


def main():
    """Read the command line and measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("notebook", nargs="?", type=Path, default=ROOT / "workbook/01_at_a_glance.ipynb")
    parser.add_argument("label", nargs="?", default="Pump speed, %")
    parser.add_argument("--steps", type=int, default=40)
    parser.add_argument("--naive", type=Path, help="the same panel redrawn the plain way")
    arguments = parser.parse_args()
    if chromium_path() is None:
        sys.exit("No Chromium found; nothing measured.")
    notebooks = {"live": arguments.notebook}
    if arguments.naive:
        notebooks["naive"] = arguments.naive
    measure(notebooks, arguments.label, arguments.steps)


if __name__ == "__main__":
    main()
