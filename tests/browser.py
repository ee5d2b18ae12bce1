"""A real JupyterLab in a real Chromium for the tests: start, open a notebook, run it, press keys.

Nothing is downloaded, the server answers on 127.0.0.1 only, and the notebook on disk stays as it is.
"""

import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

SETTINGS = {
    "@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": False},
    "@jupyterlab/docmanager-extension:plugin": {"autosave": False},
}
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
FIND_SLIDER = """label => {
  for (const widget of document.querySelectorAll('.jp-OutputArea .widget-slider')) {
    const words = widget.querySelector(':scope > .widget-label');
    const handle = widget.querySelector('.noUi-handle, [role=slider]');
    if (handle && words && words.textContent.trim() === label) return handle;
  }
  return null;
}"""
PANEL_IMAGE = ".jp-OutputArea img[src^='data:image']"
IDLE = "() => document.querySelector('.jp-Notebook-ExecutionIndicator')?.dataset.status === 'idle'"


def chromium_path():
    """Return the path of an installed Chromium, or None; tests skip themselves then."""
    names = ("chromium", "chromium-browser")
    return next((found for found in map(shutil.which, names) if found), None)


class _Cells:
    """Counts cells sent to the kernel and answered, from the page's own messages.

    The page cannot tell: cells with folded code have no prompt, saved ones show old numbers.
    """

    def __init__(self, page):
        self.sent = self.answered = 0
        self._page, self._sockets = page, []
        page.on("websocket", self._listen)

    def _listen(self, heard):
        if "/channels" in heard.url:
            self._sockets.append(heard)
            heard.on("framesent", self._count_sent)
            heard.on("framereceived", self._count_answered)

    def _count_sent(self, frame):
        self.sent += b"execute_request" in _bytes(frame)

    def _count_answered(self, frame):
        self.answered += b"execute_reply" in _bytes(frame)

    def stop(self):
        """Listen no more: each message listened to costs time."""
        self._page.remove_listener("websocket", self._listen)
        for heard in self._sockets:
            heard.remove_listener("framesent", self._count_sent)
            heard.remove_listener("framereceived", self._count_answered)


class _Playwright:
    """The one playwright a thread may have, shared by all that are open."""

    shared, users = None, 0

    @classmethod
    def take(cls):
        # Imported here: the module can then be imported where playwright is missing.
        from playwright.sync_api import sync_playwright

        if not cls.users:
            cls.shared = sync_playwright().start()
        cls.users += 1
        return cls.shared

    @classmethod
    def give_back(cls):
        cls.users -= 1
        if not cls.users:
            cls.shared.stop()


class Lab:
    """
    JupyterLab with one notebook open and run, for use in a `with` block.

    Parameters
    ----------
    notebook : path
        Notebook to open, inside `root`.
    root : path
        Folder the server shows; kernels start in the notebook's own folder.
    size : tuple of int
        Window size in screen pixels.
    scale : float
        Device pixels per screen pixel.
    run : bool
        Run all cells on entry.
    hook : str, optional
        JavaScript put into the page before anything else.

    Attributes
    ----------
    page : playwright.sync_api.Page
        The page with the notebook.
    seconds : dict
        Time from the start to "server", "notebook" and "run" (all cells done).
    """

    def __init__(self, notebook, root, size=(1440, 900), scale=1, run=True, hook=None):
        self.root = Path(root).resolve()
        self.notebook = Path(notebook).resolve().relative_to(self.root).as_posix()
        self.size, self.scale, self.run, self.hook = size, scale, run, hook
        self.page, self.seconds = None, {}
        self._server = self._playwright = self._chromium = self._log = None

    def __enter__(self):
        self._folder = Path(tempfile.mkdtemp(prefix="loop-lab-"))
        self._start = time.monotonic()
        try:
            self._start_server()
            self._open_page()
            if self.run:
                self.run_all()
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(self, *error):
        self.stop()

    def _lap(self, name):
        self.seconds[name] = round(time.monotonic() - self._start, 2)

    def _environment(self):
        """Return an environment in which Jupyter reads and writes nothing of the user's."""
        settings = self._folder / "config" / "labconfig"
        settings.mkdir(parents=True)
        (settings / "default_setting_overrides.json").write_text(json.dumps(SETTINGS), encoding="utf-8")
        places = {
            "JUPYTER_CONFIG_DIR": "config",
            "JUPYTER_DATA_DIR": "data",
            "JUPYTER_RUNTIME_DIR": "runtime",
            "JUPYTERLAB_SETTINGS_DIR": "settings",
            "JUPYTERLAB_WORKSPACES_DIR": "workspaces",
            "IPYTHONDIR": "ipython",
        }
        return os.environ | {name: str(self._folder / place) for name, place in places.items()}

    def _start_server(self):
        port, token = _free_port(), secrets.token_hex(16)
        self.address, self._token = f"http://127.0.0.1:{port}", token
        command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root"]
        command += ["--ServerApp.ip=127.0.0.1", f"--ServerApp.port={port}", "--ServerApp.port_retries=0"]
        command += [f"--IdentityProvider.token={token}", f"--ServerApp.root_dir={self.root}"]
        self._log = (self._folder / "server.log").open("w", encoding="utf-8")
        self._server = subprocess.Popen(
            command,
            env=self._environment(),
            stdout=self._log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        for _ in range(600):
            if self._server.poll() is not None:
                raise RuntimeError("JupyterLab ended at once:\n" + self.log()[-2000:])
            try:
                urllib.request.urlopen(f"{self.address}/api?token={token}", timeout=1).close()
                break
            except OSError:
                time.sleep(0.1)
        else:
            raise RuntimeError("JupyterLab does not answer:\n" + self.log()[-2000:])
        self._lap("server")

    def _open_page(self):
        self._playwright = _Playwright.take()
        self._chromium = self._playwright.chromium.launch(executable_path=chromium_path(), args=FLAGS)
        width, height = self.size
        self.page = self._chromium.new_page(viewport={"width": width, "height": height}, device_scale_factor=self.scale)
        if self.hook:
            self.page.add_init_script(self.hook)
        self._cells = _Cells(self.page)
        self.page.goto(f"{self.address}/doc/tree/{self.notebook}?token={self._token}")
        self.page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
        self._lap("notebook")

    def run_all(self, timeout=120):
        """Run > Run All Cells and wait until all is done; again if the page ended up without its picture."""
        for _ in range(3):
            self._run_once(timeout)
            if self._wait(lambda: self.page.locator(PANEL_IMAGE).count(), 6):
                break  # else the kernel the cells went to was replaced while the page was starting
        self._cells.stop()
        self._lap("run")

    def _run_once(self, timeout):
        from playwright.sync_api import TimeoutError as TooLate

        page, cells = self.page, self._cells
        before = cells.sent
        page.wait_for_function(IDLE, timeout=timeout * 1000)
        for _ in range(8):
            self._dismiss_dialog()
            try:
                page.locator(".lm-MenuBar-item", has_text="Run").first.click(timeout=5000)
                page.locator('.lm-Menu-item[data-command="runmenu:run-all"]').click(timeout=5000)
            except TooLate:  # a dialog came up in between
                continue
            if self._wait(lambda: cells.sent > before, 4):
                break
        else:
            raise RuntimeError("Run All Cells did not start:\n" + self.log()[-2000:])
        if not self._wait(lambda: cells.answered >= cells.sent and page.evaluate(IDLE), timeout):
            raise RuntimeError(f"{cells.sent - cells.answered} cells still run after {timeout} s.")

    def _wait(self, reached, timeout):
        """Let the page work until `reached()`, twice in a row; return whether it came to that."""
        end, before = time.monotonic() + timeout, False
        while time.monotonic() < end:
            now = bool(reached())
            if now and before:
                return True
            before = now
            self.page.wait_for_timeout(100)
        return False

    def _dismiss_dialog(self):
        # "Select Kernel" comes up when Run All was asked for before the kernel was there.
        accept = self.page.locator(".jp-Dialog .jp-mod-accept")
        if accept.count():
            accept.first.click()
            self.page.wait_for_timeout(1000)

    def log(self):
        """Return what the server wrote so far."""
        return (self._folder / "server.log").read_text(encoding="utf-8", errors="replace")

    def stop(self):
        """Close the browser, then the server with its kernels, then remove the throw-away folder."""
        try:
            if self._chromium:
                self._chromium.close()
        finally:
            if self._playwright:
                _Playwright.give_back()
            self._stop_server()
            shutil.rmtree(self._folder, ignore_errors=True)

    def _stop_server(self):
        if self._server and self._server.poll() is None:
            self._server.send_signal(signal.SIGTERM)  # the server ends its kernels on this
            try:
                self._server.wait(15)
            except subprocess.TimeoutExpired:
                self._server.kill()
                self._server.wait(5)
        if self._log:
            self._log.close()


def _bytes(frame):
    return frame.encode() if isinstance(frame, str) else frame


def _free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def find_slider(page, label, timeout=20):
    """Return the handle of the slider with this label."""
    from playwright.sync_api import TimeoutError as TooLate

    try:
        return page.wait_for_function(FIND_SLIDER, arg=label, timeout=timeout * 1000).as_element()
    except TooLate:
        outputs = " | ".join(page.locator(".jp-OutputArea-output").all_inner_texts())
        raise RuntimeError(f"No slider {label!r}; the outputs read: {outputs[-1500:]}") from None


def press(page, handle, key, times=1):
    """Give a slider handle the keyboard and press a key on it."""
    handle.focus()
    for _ in range(times):
        page.keyboard.press(key)


def picture_source(page):
    """Return the `src` of the first picture in the notebook's outputs, or None."""
    return page.evaluate("selector => document.querySelector(selector)?.src ?? null", PANEL_IMAGE)


def wait_for_new_picture(page, old, timeout=30):
    """Wait until the picture is another than `old` and fully loaded; return its `src`."""
    script = """([selector, old]) => { const image = document.querySelector(selector);
      return image && image.src !== old && image.complete && image.naturalWidth > 0 ? image.src : null; }"""
    return page.wait_for_function(script, arg=[PANEL_IMAGE, old], timeout=timeout * 1000).json_value()


def headline(page):
    """Return the words of the panel's status line (role "status"), or the picture's words."""
    script = """selector => {
      const line = document.querySelector('.jp-OutputArea [role=status]');
      return (line?.textContent ?? document.querySelector(selector)?.alt ?? '').trim(); }"""
    return page.evaluate(script, PANEL_IMAGE)
