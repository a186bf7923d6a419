"""Ways to be at a page: with the mouse, with the keyboard alone, by touch on a small screen, and without its script."""

import shutil
import subprocess
import sys

WAYS = ("mouse", "keyboard", "touch", "no-script")
NAMES = ("chromium", "chromium-browser", "google-chrome")
_MOST_TABS = 400


def chromium():
    """Path of an installed Chromium, or None."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


class Served:
    """The program in a process of its own, as a person starts it."""

    def __init__(self, folder, *options):
        self.process = subprocess.Popen(
            [sys.executable, "-m", "solarvent", "serve", str(folder), "--no-browser", *options],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.address = self.process.stdout.readline().strip()
        self.base = self.address.partition("/?")[0]

    def end(self, signal):
        """End it; give its exit code and what it said."""
        self.process.send_signal(signal)
        _, said = self.process.communicate(timeout=30)
        return self.process.returncode, said


def context_of(browser, way, **more):
    """A fresh browser window for one way of being at the page."""
    if way == "touch":
        more |= {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
    else:
        more |= {"viewport": {"width": 1280, "height": 900}}
    context = browser.new_context(java_script_enabled=way != "no-script", **more)
    context.set_default_timeout(90_000)
    return context


class Hands:
    """Does on a page what a person does, in one of the ways."""

    def __init__(self, page, way):
        self.page, self.way = page, way

    def go(self, words):
        """Follow a link by its words."""
        self.press(self.page.get_by_role("link", name=words, exact=True))

    def press(self, what):
        """Press a button, a link or a summary, and wait for the page that comes of it."""
        if self.way == "keyboard":
            self._reach(what)
        if what.evaluate("one => one.tagName") == "SUMMARY":
            self._strike(what)
        else:
            with self.page.expect_navigation():
                self._strike(what)

    def _strike(self, what):
        if self.way == "keyboard":
            self.page.keyboard.press("Enter")
        elif self.way == "touch":
            what.tap()
        else:
            what.click()

    def write(self, what, text):
        """Write over what stands in a field."""
        if self.way == "keyboard":
            self._reach(what)
            self.page.keyboard.press("Control+a")
            self.page.keyboard.type(text)
        else:
            what.fill(text)

    def pick(self, what):
        """Choose one of a group of pictures or lines."""
        if self.way != "keyboard":
            what.check(force=True)
            return
        name = what.get_attribute("name")
        checked = what.locator(f'xpath=ancestor::form[1]//input[@name="{name}"]')
        self._reach_one_of(checked)
        for _ in range(checked.count()):
            if what.is_checked():
                return
            self.page.keyboard.press("ArrowDown")
        assert what.is_checked()

    def choose(self, what, value):
        """Choose from a list."""
        if self.way != "keyboard":
            what.select_option(value)
            return
        self._reach(what)
        self.page.keyboard.press("Home")
        for _ in range(what.locator("option").count()):
            if what.input_value() == value:
                return
            self.page.keyboard.press("ArrowDown")
        assert what.input_value() == value

    def tick(self, what):
        """Tick a box."""
        if self.way == "keyboard":
            self._reach(what)
            self.page.keyboard.press("Space")
        elif self.way == "touch":
            what.tap(force=True)
        else:
            what.check(force=True)

    def send(self, form):
        """Have a form taken over: by its button without the script, by itself with it."""
        if self.way == "no-script":
            self.press(form.locator(".send:not(.always) button"))
        else:
            self.page.locator("body:not(.busy)").wait_for(state="attached")

    def _reach(self, what):
        self._reach_one_of(what)

    def _reach_one_of(self, what):
        """Go from field to field, as the key does, until one of these has the focus; every stop on the way is seen."""
        wanted = [what.nth(number).element_handle() for number in range(what.count())]
        for _ in range(_MOST_TABS):
            if any(self.page.evaluate("one => one === document.activeElement", one) for one in wanted):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"the keyboard does not come to {what}")
