# SPDX-License-Identifier: GPL-3.0-or-later
"""A small client of the W3C WebDriver protocol (https://www.w3.org/TR/webdriver2/) for Debian's chromedriver, with
nothing but the standard library."""

import base64
import json
import re
import shutil
import subprocess
import tempfile
import urllib.error
import urllib.request

ELEMENT = "element-6066-11e4-a52e-4f735466cecf"  # WebDriver 12.1, web element identifier
KEYS = {
    "Enter": "\ue007", "Tab": "\ue004", "Space": " ", "PageUp": "\ue00e", "PageDown": "\ue00f", "End": "\ue010",
    "Home": "\ue011", "Left": "\ue012", "Up": "\ue013", "Right": "\ue014", "Down": "\ue015", "Shift": "\ue008",
}


def missing():
    """Why no browser can be driven here; empty when one can."""
    for program in ("chromium", "chromedriver"):
        if shutil.which(program) is None:
            return f"{program} is not installed (Debian packages chromium and chromium-driver)"
    return ""


class WebDriverError(Exception):
    pass


class Browser:
    """One Chromium without a window, with an empty profile; ends with `with`."""

    def __init__(self, width=1280, height=900):
        self.profile = tempfile.mkdtemp(prefix="lacuna-chromium-")
        self.driver = subprocess.Popen(["chromedriver", "--port=0"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                                       text=True)
        self.base = None
        for line in self.driver.stdout:
            found = re.search(r"successfully on port (\d+)", line)
            if found:
                self.base = f"http://127.0.0.1:{found.group(1)}"
                break
        if self.base is None:
            raise WebDriverError("chromedriver did not start")
        arguments = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                     "--disable-background-networking", "--disable-component-update", "--disable-sync",
                     "--disable-dev-shm-usage", "--force-color-profile=srgb", f"--window-size={width},{height}",
                     f"--user-data-dir={self.profile}"]
        made = self.call("POST", "/session", {"capabilities": {"alwaysMatch": {
            "browserName": "chrome", "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
            "goog:chromeOptions": {"args": arguments, "perfLoggingPrefs": {"enableNetwork": True}}}}})
        self.session = "/session/" + made["sessionId"]

    def __enter__(self):
        return self

    def __exit__(self, *_):
        try:
            self.call("DELETE", self.session)
        except (WebDriverError, OSError):
            pass
        self.driver.terminate()
        self.driver.wait()
        shutil.rmtree(self.profile, ignore_errors=True)

    def call(self, method, path, body=None):
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.base + path, data, {"Content-Type": "application/json"}, method=method)
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        try:
            with opener.open(request, timeout=120) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            raise WebDriverError(json.load(error)["value"]["message"].splitlines()[0]) from None

    def post(self, path, body=None):
        return self.call("POST", self.session + path, body or {})

    def get(self, path):
        return self.call("GET", self.session + path)

    def open(self, url):
        self.post("/url", {"url": url})

    def run(self, script, *arguments):
        """The value of a function's body, which may use `arguments`."""
        return self.post("/execute/sync", {"script": script, "args": list(arguments)})

    def wait(self, script, *arguments):
        """Until the function's body gives something true; at most some seconds."""
        waiting = ("const done = arguments[arguments.length - 1]; const end = Date.now() + 20000;"
                   "const body = function () {" + script + "}; const given = [...arguments].slice(0, -1);"
                   "(function look() { const value = body.apply(null, given);"
                   "if (value || Date.now() > end) done(value); else setTimeout(look, 20); })();")
        value = self.post("/execute/async", {"script": waiting, "args": list(arguments)})
        if not value:
            raise AssertionError(f"never came: {script}")
        return value

    def find(self, selector):
        return self.post("/element", {"using": "css selector", "value": selector})

    def click(self, selector):
        self.post(f"/element/{self.find(selector)[ELEMENT]}/click")

    def type(self, selector, text):
        self.post(f"/element/{self.find(selector)[ELEMENT]}/value", {"text": text})

    def press(self, *keys):
        """Keys one after the other, to whatever has the focus; "Shift+Right" holds one."""
        actions = []
        for key in keys:
            parts = [KEYS.get(part, part) for part in key.split("+")] if len(key) > 1 else [key]
            actions += [{"type": "keyDown", "value": part} for part in parts]
            actions += [{"type": "keyUp", "value": part} for part in reversed(parts)]
        self.post("/actions", {"actions": [{"type": "key", "id": "keyboard", "actions": actions}]})

    def point(self, x, y):
        """A click at a place of the window, in CSS pixels."""
        self.post("/actions", {"actions": [{"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"},
                                            "actions": [{"type": "pointerMove", "duration": 0, "x": int(x), "y": int(y)},
                                                        {"type": "pointerDown", "button": 0},
                                                        {"type": "pointerUp", "button": 0}]}]})

    def cdp(self, command, **parameters):
        return self.post("/goog/cdp/execute", {"cmd": command, "params": parameters})

    def size(self, width, height):
        self.cdp("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)

    def prefer(self, scheme, media=""):
        self.cdp("Emulation.setEmulatedMedia", media=media,
                 features=[{"name": "prefers-color-scheme", "value": scheme},
                           {"name": "prefers-reduced-motion", "value": "reduce"}])

    def complaints(self):
        """What the console has been told since the last call."""
        return [entry["message"] for entry in self.post("/se/log", {"type": "browser"})]

    def requests(self):
        """The addresses asked for since the last call."""
        urls = []
        for entry in self.post("/se/log", {"type": "performance"}):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                urls.append(message["params"]["request"]["url"])
        return urls

    def pdf(self):
        return base64.b64decode(self.post("/print", {"background": True}))

    def screenshot(self, file):
        with open(file, "wb") as out:
            out.write(base64.b64decode(self.get("/screenshot")))
