"""Picture of a piece in its jig: the room under it, where it touches, walls, and what to take off the jig."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.patches import PathPatch, Polygon
from matplotlib.path import Path
from scipy import ndimage

from simkit.compare.seat import SAME_HEIGHT, Seat
from simkit.report import canvas, colours
from simkit.report.canvas import BODY, MARGIN, SMALL, TITLE, Page
from simkit.report.lengths import MM, Lengths
from simkit.report.map_parts import draw_scale_bar, flow

WIDTH, TALLEST = 1800.0, 1100.0  # pixels
LEFT, RIGHT, TOP, FRONT = 118.0, 60.0, 44.0, 92.0  # pixels beside the map
ASIDE = 6.0  # mm of the jig shown round the piece
# mm: borders of the shades.  ColorBrewer 2.0, Cynthia A. Brewer, colorbrewer2.org: purple arm of PuOr, eleven
# classes, listed there as safe for the colour-blind; darker is nearer, so a grey print tells them too.
BORDERS = (SAME_HEIGHT, 0.1, 0.5, 2.0)
SHADES = (*colours.PUOR_11[9:6:-1], "#e2e2e6", "#f1f1ee")
WORDS = ("touches", "room under it up to 0.1 mm", "room up to 0.5 mm", "room up to 2 mm", "room over 2 mm")
RELIEF = colours.PUOR_11[1]
JIG_LINE = "#8a8a86"
MOST = 8  # contacts that get a number
CLOSE, DETAIL, MOST_CLOSE = 5.0, 380.0, 4  # mm across a close-up, its pixels, how many there are


def contacts_of(seat: Seat) -> list[tuple[np.ndarray, float]]:
    """Return where the piece touches as (place (x, y, z) mm, how far it reaches across mm), widest first.

    Places less than three cells apart are one; of these the first contact is told, else the one nearest to
    their middle.
    """
    if not len(seat.contacts):
        return []
    size = 1.5 * seat.lattice.cell
    at = np.floor((seat.contacts[:, :2] - seat.contacts[:, :2].min(axis=0)) / size).astype(int) + 1
    mask = np.zeros(tuple(at.max(axis=0) + 2), bool)
    mask[tuple(at.T)] = True
    label = ndimage.label(mask, np.ones((3, 3)))[0][tuple(at.T)]
    found = []
    for one in np.unique(label):
        points = seat.contacts[label == one]
        is_first = (points == seat.first).all(axis=1).any()
        middle = seat.first[:2] if is_first else points[:, :2].mean(axis=0)
        off = np.hypot(*(points[:, :2] - middle).T)
        found.append((points[off.argmin()], float(np.hypot(*np.ptp(points[:, :2], axis=0)))))
    return sorted(found, key=lambda item: (-round(item[1], 1), *item[0]))


def draw_seat(path, seat: Seat, words: str, title: str, lengths: Lengths = MM) -> str:
    """Draw how a piece seats as a PNG at `path` and return the path.

    seat: of compare.jig.  words: how it seats, below the title.  lengths: how they are written.
    The jig is seen from above as it lies on the table, the piece where it comes to rest.  A shade is that of
    the cell under a pixel; contacts are widened to 3 pixels, so that none is lost.
    """
    lattice, inner = seat.lattice, WIDTH - 2 * MARGIN
    x0, y0 = (float(one) - ASIDE for one in lattice.origin)
    wide, deep = lattice.nx * lattice.cell + 2 * ASIDE, lattice.ny * lattice.cell + 2 * ASIDE
    pitch = max(wide / (WIDTH - LEFT - RIGHT), deep / TALLEST)
    across, down = round(wide / pitch), round(deep / pitch)
    contacts = contacts_of(seat)
    relief = seat.relief_places
    close = _close_places(seat, relief)
    head = canvas.wrapped(title, TITLE, inner, True, 2)
    told = canvas.wrapped(words, BODY, inner, most=4)
    lines = _list(contacts, seat, lengths)
    signs = _signs(seat, lengths)
    rows = flow(signs, inner)
    y_map = 40 + canvas.line_height(TITLE) * len(head) + canvas.line_height(BODY) * len(told)
    y_map = round(y_map + canvas.line_height(SMALL) + TOP)
    y_key = y_map + down + FRONT + 10
    y_list = y_key + 42 * (1 + rows[-1][0]) + 66
    y_close = y_list + 36 * math.ceil(len(lines) / 2) + 40
    page = Page(WIDTH, y_close + (DETAIL + 56 if close else 0) + 10, lengths=lengths)
    y = 40.0
    for texts, size, is_bold in ((head, TITLE, True), (told, BODY, False)):
        for text in texts:
            page.text(MARGIN, y, text, size, bold=is_bold, up="top")
            y += canvas.line_height(size)
    where = f"The jig seen from above, standing at its front. Cells of {lengths.both(lattice.cell)}."
    page.text(MARGIN, y + 4, where, SMALL, colours.QUIET_INK, up="top")
    left = round(LEFT + (WIDTH - LEFT - RIGHT - across) / 2)
    frame = _Frame(page, left, y_map, across, down, x0, y0 + deep, pitch)
    frame.draw(seat)
    _rulers(frame, (x0, y0))
    for number, (place, _) in enumerate(contacts[:MOST], 1):
        frame.mark(place, number)
    first = frame.pixel(np.array(seat.first[:2]))
    _diamond(page, *first)
    for (row, x), (name, text) in zip(rows, signs, strict=True):
        _sign(page, MARGIN + x, y_key + 42 * row, name)
        page.text(MARGIN + x + 60, y_key + 42 * row, text, SMALL, up="center")
    draw_scale_bar(page, pitch, WIDTH - MARGIN, y_key + 42 * (1 + rows[-1][0]), inner / 3)
    half = math.ceil(len(lines) / 2)
    for nth, line in enumerate(lines):
        text = canvas.shortened(line, SMALL, inner / 2 - 20)
        page.text(MARGIN + (nth // half) * inner / 2, y_list + 36 * (nth % half), text, SMALL)
    if close:
        words = "what to take off the jig" if relief else "the corners of the piece"
        words = f"Close to: {words}; each picture is {lengths.sizes(CLOSE)} wide and as high."
        page.text(MARGIN, y_close - 16, words, SMALL, colours.QUIET_INK)
    for nth, place in enumerate(close):
        _close_up(page, seat, MARGIN + nth * (DETAIL + 50), y_close, place, contacts)
    return page.save(path)


class _Frame:
    """A window on the jig: pixels across and down from (left, top), its left back corner at (x, y) mm."""

    def __init__(self, page: Page, left, top, across, down, x, y, pitch):
        self.page, self.left, self.top, self.across, self.down = page, left, top, across, down
        self.x, self.y, self.pitch = x, y, pitch

    def pixel(self, points: np.ndarray) -> np.ndarray:
        """Return pixels of places (..., 2) mm."""
        points = np.asarray(points, float)
        off = np.stack([points[..., 0] - self.x, self.y - points[..., 1]], axis=-1) / self.pitch
        return off + np.array((self.left, self.top))

    def inside(self, points: np.ndarray, wide: int = 1) -> np.ndarray:
        """Return the pixels (down, across) bool that places (n, 2) mm fall on, widened."""
        mask = np.zeros((self.down, self.across), bool)
        at = np.floor(self.pixel(points[:, :2]) - (self.left, self.top)).astype(int)
        at = at[(at >= 0).all(axis=1) & (at < (self.across, self.down)).all(axis=1)]
        mask[at[:, 1], at[:, 0]] = True
        return ndimage.maximum_filter(mask, size=wide) if wide > 1 else mask

    def draw(self, seat: Seat, wall: int = 2) -> None:
        """Draw shades, walls `wall` pixels wide, and the hatched relief."""
        xs = self.x + (np.arange(self.across) + 0.5) * self.pitch
        ys = self.y - (np.arange(self.down) + 0.5) * self.pitch
        x, y = np.meshgrid(xs, ys)
        cells = seat.pose.back(np.column_stack([x.ravel(), y.ravel()]))
        at = np.floor((cells - seat.lattice.origin) / seat.lattice.cell).astype(int)
        is_in = ((at >= 0) & (at < (seat.lattice.nx, seat.lattice.ny))).all(axis=1)
        room = np.full(len(cells), np.nan)
        room[is_in] = seat.clearance[at[is_in, 1], at[is_in, 0]]
        shade = np.digitize(np.nan_to_num(room, nan=-1.0), BORDERS, right=True)
        picture = np.array([colours.rgb(one) for one in SHADES], np.uint8)[shade]
        picture[np.isnan(room)] = 255
        picture = picture.reshape(self.down, self.across, 3)
        picture[self.inside(seat.contacts, 3)] = colours.rgb(SHADES[0])
        picture[self.inside(seat.jig_walls, wall + 2)] = colours.rgb(JIG_LINE)
        picture[self.inside(seat.piece_walls, wall)] = colours.rgb(colours.INK)
        self.page.image(picture, self.left, self.top)
        for outline, holes in zip(seat.relief, seat.relief_holes, strict=True):
            self._hatched(self.pixel(outline), [self.pixel(hole) for hole in holes])
        self.page.box(self.left, self.top, self.across, self.down, edge=colours.INK, edge_width=1.6, zorder=5)

    def _hatched(self, corners: np.ndarray, holes: list[np.ndarray]) -> None:
        """Draw an outline in pixels, hatched but for its holes, and no smaller than 9 pixels, to be seen."""
        middle = corners.mean(axis=0)
        small = max(float(np.ptp(corners, axis=0).max()), 1e-6)
        corners = middle + (corners - middle) * max(1.0, 9 / small)
        low, high = (self.left, self.top), (self.left + self.across, self.top + self.down)
        if not ((corners > low) & (corners < high)).any():
            return
        clip = Polygon(np.array([low, (high[0], low[1]), high, (low[0], high[1])]), facecolor="none")
        clip.set_transform(self.page.axes.transData)
        # Holes run the other way round, so that they are left out.
        loops = [corners, *(hole[:: -1 if _turn(hole) == _turn(corners) else 1] for hole in holes)]
        path = Path.make_compound_path(*(Path(np.vstack([one, one[:1]]), closed=True) for one in loops))
        patch = PathPatch(path, facecolor="none", edgecolor=RELIEF, hatch="////", zorder=4.4)
        patch.set_linewidth(3.0 * 72 / canvas.BASE_DPI)
        self.page.axes.add_patch(patch)
        patch.set_clip_path(clip)

    def mark(self, place: np.ndarray, number: int) -> None:
        """Draw a contact's number, a little way towards the middle of the window, with a line to it."""
        at = self.pixel(place[:2])
        middle = np.array((self.left + self.across / 2, self.top + self.down / 2))
        way = middle - at
        way = way / max(float(np.hypot(*way)), 1e-9) if np.hypot(*way) > 40 else np.array((0.7, 0.7))
        end = at + 46 * way
        self.page.line([at[0], end[0]], [at[1], end[1]], "white", 4.5, zorder=6.5)
        self.page.line([at[0], end[0]], [at[1], end[1]], colours.INK, 1.6, zorder=7)
        self.page.number(*end, number, True, 17)


def _turn(loop: np.ndarray) -> bool:
    """Return which way round a closed loop (n, 2) runs."""
    beyond = np.roll(loop, -1, axis=0)
    return bool((loop[:, 0] * beyond[:, 1] - loop[:, 1] * beyond[:, 0]).sum() > 0)


def _close_places(seat: Seat, relief: list[np.ndarray]) -> list[np.ndarray]:
    """Return the places (x, y) mm that are shown large: what to take off, else the corners of the piece."""
    if relief:
        return sorted(relief, key=lambda place: tuple(place))[:MOST_CLOSE]
    if seat.room is None or not len(seat.piece_walls):
        return []
    ways = np.array([(-1, -1), (-1, 1), (1, -1), (1, 1)])
    return [seat.piece_walls[(seat.piece_walls @ way).argmax()] for way in ways][:MOST_CLOSE]


def _close_up(page: Page, seat: Seat, left: float, top: float, place: np.ndarray, contacts: list) -> None:
    """Draw a window of CLOSE mm about a place, with the numbers of the contacts (contacts_of) in it."""
    size = round(DETAIL)
    frame = _Frame(
        page, round(left), round(top), size, size, place[0] - CLOSE / 2, place[1] + CLOSE / 2, CLOSE / size
    )
    frame.draw(seat, 4)
    for number, (contact, _) in enumerate(contacts[:MOST], 1):
        if (np.abs(contact[:2] - place[:2]) < CLOSE / 2).all():
            frame.mark(contact, number)
    page.text(left, top + size + 30, f"at {_at(place, page.lengths)}", SMALL)


def _at(place: np.ndarray, lengths: Lengths) -> str:
    """Return a place on the jig's board in words."""
    return f"x {lengths.place(place[0])}, y {lengths.place(place[1])} {lengths.name}"


def _rulers(frame: _Frame, low) -> None:
    """Draw lengths from the left front corner of the jig's board, and the words at the edges."""
    page, bottom = frame.page, frame.top + frame.down
    lengths = page.lengths
    step = lengths.ruler(max(frame.across, frame.down) * frame.pitch / 12)
    for axis, length in ((0, frame.across), (1, frame.down)):
        end = low[axis] + length * frame.pitch
        for value in np.arange(math.ceil(low[axis] / step) * step, end + 1e-9, step):
            x, y = frame.pixel(np.array((value, value)))
            if axis == 0:
                page.line([x, x], [bottom, bottom + 12], colours.QUIET_INK)
                page.text(x, bottom + 36, lengths.size(value), SMALL, colours.QUIET_INK, across="center")
            else:
                page.line([frame.left, frame.left - 12], [y, y], colours.QUIET_INK)
                words = {"size": SMALL, "colour": colours.QUIET_INK, "across": "right", "up": "center"}
                page.text(frame.left - 18, y, lengths.size(value), **words)
    page.text(frame.left + frame.across / 2, bottom + 68, "front", BODY, across="center", bold=True)
    page.text(frame.left + frame.across / 2, frame.top - 14, "back", BODY, across="center", bold=True)
    middle = frame.top + frame.down / 2
    page.text(frame.left - 88, middle, "left", BODY, across="center", up="center", turn=90, bold=True)
    right = frame.left + frame.across + 30
    page.text(right, middle, "right", BODY, across="center", up="center", turn=90, bold=True)
    note = f"{lengths.word} from the left front corner of the jig's board"
    page.text(frame.left + frame.across / 2 + 62, bottom + 68, note, SMALL, colours.QUIET_INK)


def _signs(seat: Seat, lengths: Lengths) -> list[tuple[str | int, str]]:
    """Return (sign, words) of the legend: what the picture holds."""
    shade = np.digitize(seat.clearance[np.isfinite(seat.clearance)], BORDERS, right=True)
    shown = set(np.unique(shade).tolist()) | {0}
    signs = [(number, lengths.text(text)) for number, text in enumerate(WORDS) if number in shown]
    signs += [("piece", "upright wall of the piece")] if len(seat.piece_walls) else []
    signs += [("jig", "upright wall of the jig")] if len(seat.jig_walls) else []
    signs += [("first", "touches first"), ("number", "touches, see the list")]
    return signs + ([("relief", "to take off the jig")] if seat.relief else [])


def _sign(page: Page, x: float, y: float, name: str | int) -> None:
    """Draw one sign of the legend."""
    if isinstance(name, int):
        page.box(round(x), round(y) - 13, 48, 26, SHADES[name])
    elif name in ("piece", "jig"):
        page.line(
            [x, x + 48], [y, y], colours.INK if name == "piece" else JIG_LINE, 3 if name == "piece" else 5
        )
    elif name == "number":
        page.number(x + 24, y, None, True, 12)
    elif name == "first":
        _diamond(page, x + 24, y)
    else:
        corners = np.array([(x, y - 13), (x + 48, y - 13), (x + 48, y + 13), (x, y + 13)])
        patch = Polygon(corners, facecolor="none", edgecolor=RELIEF, hatch="////", zorder=4.4)
        patch.set_linewidth(3.0 * 72 / canvas.BASE_DPI)
        page.axes.add_patch(patch)


def _diamond(page: Page, x: float, y: float, size: float = 13.0) -> None:
    """Draw the mark of the first contact."""
    corners = np.array([(x, y - size), (x + size, y), (x, y + size), (x - size, y)])
    patch = Polygon(corners, facecolor="white", edgecolor=colours.INK, zorder=7.5)
    patch.set_linewidth(3.0 * 72 / canvas.BASE_DPI)
    page.axes.add_patch(patch)


def _list(contacts, seat: Seat, lengths: Lengths) -> list[str]:
    """Return the words on the contacts."""
    lines = []
    for number, (place, reach) in enumerate(contacts[:MOST], 1):
        z = place[2]
        on = "the table" if z <= SAME_HEIGHT else f"the jig, {lengths.value(z)} above the table"
        is_point = reach < 3 * seat.lattice.cell
        size = "" if is_point else f", {lengths.place(reach)} {lengths.name} long"
        lines.append(f"{number}: at {_at(place, lengths)} on {on}{size}")
    more = len(contacts) - MOST
    return [*lines, f"and {more} more places"] if more > 0 else lines
