"""The whole way once in a real browser, with mouse, finger and keyboard; needs Debian's chromium."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import tomllib
import urllib.request
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from grainplan.units import parse_length
from tests.small_job import make_small_job

sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium")
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
ARGS += ["--disable-component-update", "--disable-sync"]
ROOT = Path(__file__).parent.parent
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed; apt-get install chromium"),
]


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """The app as ``grainplan app`` serves it, on a free port of this machine."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "grainplan", "app", "--port", str(port)]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    quiet["env"] = {**os.environ, "STREAMLIT_SERVER_HEADLESS": "true"}  # no window on the desk of whoever tests
    with subprocess.Popen(command, cwd=ROOT, start_new_session=True, **quiet) as served:
        try:
            _wait_until_up(f"http://localhost:{port}/_stcore/health")
            yield f"http://localhost:{port}"
        finally:
            os.killpg(served.pid, signal.SIGTERM)


def _wait_until_up(url: str) -> None:
    for _ in range(300):
        try:
            with urllib.request.urlopen(url, timeout=1):
                return
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the app did not come up")


@pytest.fixture(scope="module")
def browser() -> Iterator[sync_api.Browser]:
    with sync_api.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield opened
        opened.close()


@pytest.fixture
def page(browser: sync_api.Browser) -> Iterator[sync_api.Page]:
    context = browser.new_context(viewport={"width": 1360, "height": 900}, has_touch=True, accept_downloads=True)
    context.set_default_timeout(90_000)
    yield context.new_page()
    context.close()


def open_sample(page: sync_api.Page, address: str, folder: Path) -> None:
    page.goto(address)
    where = page.get_by_label("Copy it to")
    where.fill(str(folder))
    where.press("Enter")
    page.get_by_role("button", name="Open the sample").click()
    page.get_by_role("button", name="To the bench").first.wait_for()


def go_to(page: sync_api.Page, place: str) -> None:
    page.locator(".st-key-places").get_by_text(place, exact=True).click()


def read_corner(page: sync_api.Page, place: int) -> tuple[float, float]:
    told = page.get_by_role("slider").nth(place).get_attribute("aria-valuetext") or ""
    x, y = re.findall(r"-?[\d.]+", told)
    return float(x), float(y)


def find_middle(handle: sync_api.Locator) -> tuple[float, float]:
    """Where a handle stands on the screen, once the page above it has come to rest."""
    before = None
    for _ in range(100):
        box = handle.bounding_box()
        if box is not None and box == before:
            return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        before = box
        time.sleep(0.3)
    raise AssertionError("the page does not come to rest")


def photo_px_per_css(page: sync_api.Page) -> float:
    box = page.get_by_role("group", name="Photo of the face").bounding_box()
    assert box is not None
    return 3000.0 / float(box["width"])


def test_corners_by_mouse_finger_and_keyboard(page: sync_api.Page, address: str, tmp_path: Path) -> None:
    open_sample(page, address, tmp_path / "cupboard")
    page.get_by_role("button", name="To the bench").first.click()
    handle = page.get_by_role("slider", name="foot, face edge")
    handle.wait_for()
    page.get_by_text("Square-on").wait_for()
    handle.scroll_into_view_if_needed()
    assert read_corner(page, 0) == (24.7, 224.1)
    scale = photo_px_per_css(page)

    x, y = find_middle(handle)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 12, y + 8, steps=5)
    page.mouse.up()
    page.get_by_text("not written down yet").wait_for()
    assert read_corner(page, 0) == pytest.approx((24.7 + 12 * scale, 224.1 + 8 * scale), abs=0.15)

    before = read_corner(page, 0)
    handle.focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Shift+ArrowUp")
    page.wait_for_timeout(800)
    assert read_corner(page, 0) == pytest.approx((before[0] - 1, before[1] - 10), abs=0.01)

    drag_by_finger(page, page.get_by_role("slider", name="head, other edge"), (-9.0, -6.0))
    page.wait_for_timeout(800)
    assert read_corner(page, 2) == pytest.approx((2825.2 - 9 * scale, 539.9 - 6 * scale), abs=0.6)

    page.get_by_role("button", name="Write them down").click()
    page.get_by_text("not written down yet").wait_for(state="detached")
    board = tomllib.loads((tmp_path / "cupboard" / "job.toml").read_text(encoding="utf-8"))["board"][0]
    assert board["face"]["corners"][0] == pytest.approx(read_corner(page, 0), abs=0.06)
    assert board["face"]["corners"][2] == pytest.approx(read_corner(page, 2), abs=0.06)
    assert board["face"]["corners"][1] == [2842.9, 254.0]


def drag_by_finger(page: sync_api.Page, handle: sync_api.Locator, by: tuple[float, float]) -> None:
    """One finger down, along, and up, as a touch screen reports it."""
    x, y = find_middle(handle)
    client = page.context.new_cdp_session(page)
    client.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for share in (0.25, 0.5, 0.75, 1.0):
        point = {"x": x + by[0] * share, "y": y + by[1] * share}
        client.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [point]})
    client.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def read_flaws(folder: Path) -> list[dict]:
    return tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))["board"][2]["flaw"]


def wait_for_flaws(page: sync_api.Page, folder: Path, *, wanted: int) -> list[dict]:
    for _ in range(100):
        if len(flaws := read_flaws(folder)) == wanted:
            page.wait_for_timeout(400)
            return flaws
        page.wait_for_timeout(100)
    raise AssertionError(f"{len(read_flaws(folder))} flaws in the file, {wanted} wanted")


def test_flaws_by_mouse_finger_and_keyboard_and_a_faulty_file_mended(
    page: sync_api.Page, address: str, tmp_path: Path
) -> None:
    folder = make_small_job(tmp_path / "cupboard")
    page.goto(f"{address}/?job={folder}")
    page.get_by_role("button", name="To the bench").nth(2).click()
    page.locator("[data-testid=stButtonGroup]").get_by_text("Flaws", exact=True).click()
    near = page.locator("svg.near")
    near.scroll_into_view_if_needed()
    x, y = find_middle(near)
    left, top, span, high = (float(v) for v in (near.get_attribute("viewBox") or "").split())
    box = near.bounding_box()
    assert box is not None
    mm_per_css = span / box["width"]

    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y + 40, steps=4)
    page.mouse.up()
    drawn = wait_for_flaws(page, folder, wanted=2)[1]
    corner = [parse_length(v, "in") for v in drawn["from"]]
    assert corner == pytest.approx([left + span / 2, top + high / 2], abs=3)
    wide = parse_length(drawn["to"][0], "in") - corner[0]
    assert wide == pytest.approx(60 * mm_per_css, abs=3.5)  # rounded out to sixteenths at both ends

    page.get_by_role("button", name="Draw with the finger").click()
    page.wait_for_timeout(300)
    drag_by_finger(page, near, (-80.0, 50.0))
    wait_for_flaws(page, folder, wanted=3)

    page.locator("g.mark.picked").focus()
    page.keyboard.press("Delete")
    assert wait_for_flaws(page, folder, wanted=2)[1] == drawn

    path = folder / "job.toml"
    good = path.read_text(encoding="utf-8")
    path.write_text(good.replace('kerf = "1/16 in"', "kerf = 1/16 in", 1), encoding="utf-8")
    page.reload()
    line = good[: good.index('kerf = "1/16 in"')].count("\n") + 1
    wrong = page.get_by_role("textbox", name=f"Line {line}")
    wrong.fill(good.split("\n")[line - 1])
    wrong.press("Enter")
    page.get_by_role("button", name="To the bench").first.wait_for()
    assert path.read_text(encoding="utf-8") == good


def test_the_whole_way(page: sync_api.Page, address: str, tmp_path: Path) -> None:
    asked: set[str] = set()
    page.on("request", lambda request: asked.add(request.url.split("/")[2] if "//" in request.url else "page itself"))
    page.on("websocket", lambda socket: asked.add(socket.url.split("/")[2]))
    folder = make_small_job(tmp_path / "cupboard")
    page.goto(address)
    where = page.get_by_role("textbox", name="Job folder")
    where.fill(str(folder))
    where.press("Enter")
    page.get_by_role("button", name="Open", exact=True).click()
    page.get_by_role("button", name="To the bench").first.wait_for()

    go_to(page, "Shop")
    drawn = page.locator("[data-testid=stImage] img")
    drawn.first.wait_for()
    before = drawn.first.get_attribute("src")
    kerf = page.get_by_role("textbox", name="Kerf of the resaw blade")
    kerf.fill("3/32 in")
    kerf.press("Enter")
    page.get_by_text("mates 5/32 in apart").first.wait_for()
    assert drawn.first.get_attribute("src") != before
    assert 'kerf = "3/32 in"' in (folder / "job.toml").read_text(encoding="utf-8")

    go_to(page, "Choice")
    page.get_by_role("button", name="Choose the leaves").click()
    page.get_by_role("button", name="Look closer").first.wait_for()
    page.get_by_role("button", name="Stop with the best so far").wait_for(state="detached")
    assert (folder / "out" / "plan.json").is_file()
    front = page.locator(".st-key-standing img").get_attribute("src")
    page.get_by_text("from behind", exact=True).click()
    page.wait_for_function("src => document.querySelector('.st-key-standing img').src.indexOf(src) < 0", arg=front)
    page.get_by_role("button", name="Keep these leaves").first.click()
    page.get_by_role("button", name="Let go again").wait_for()
    page.get_by_role("button", name="Stop with the best so far").wait_for(state="detached")
    assert tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))["keep"][0]["bay"] == "left door"

    go_to(page, "To the saw")
    with page.expect_download() as taken:
        page.get_by_role("button", name="Everything in one file").click()
    taken.value.save_as(tmp_path / "taken.zip")
    with zipfile.ZipFile(tmp_path / "taken.zip") as pack:
        assert {"front.png", "sheets.pdf", "labels.pdf"} <= set(pack.namelist())
        assert pack.testzip() is None
    own = address.removeprefix("http://")
    assert asked <= {own, "page itself"}, "the page asked for something that is not on this machine"


def test_the_app_listens_to_this_machine_only(address: str) -> None:
    port = int(address.rsplit(":", 1)[1])
    wanted = f":{port:04X}"
    listening = []
    for table in ("tcp", "tcp6"):
        for line in Path("/proc/net", table).read_text(encoding="ascii").splitlines()[1:]:
            local, state = line.split()[1], line.split()[3]
            if local.endswith(wanted) and state == "0A":
                listening.append(local.split(":")[0])
    assert listening
    assert set(listening) <= {"0100007F", "00000000000000000000000001000000"}
