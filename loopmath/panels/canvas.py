"""A matplotlib figure that can be redrawn, and sent as a sharp picture, many times a second.

Three things make an ordinary redraw slow: the axes and grid that never change, the words, and
the PNG. So the still part is drawn once and kept, words are put together from kept pieces, and
only pixels that differ from the last picture are coloured and packed again.
"""

import re
import struct
import zlib
from base64 import b64encode
from html import escape

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.colors import to_rgb
from matplotlib.legend import Legend
from matplotlib.lines import Line2D
from matplotlib.text import Text

SHARPNESS = 2  # real pixels per screen pixel
STRIP = 20  # rows packed together
FIRST_COLOURS = 112  # the rest of the 256 is room for colours met later
LABEL_ORDER = 5  # labels are drawn at this zorder at least, so over curves and bars
APART = (30, 10)  # least distance of two colours: first to cover all, then to fill up
#: So many levels off in so many pixels ask for new colours: even areas show less than edges.
MISSED = ((40, 40), (12, 1500))
#: From the place of a label up to its baseline, by vertical alignment: of height and depth of the line.
_UP = {
    "bottom": lambda high, below: below,
    "top": lambda high, below: below - high,
    "center": lambda high, below: below - high / 2,
    "baseline": lambda high, below: 0.0,
    "center_baseline": lambda high, below: (below - high) / 2,
}
#: Dots to the inch -> kept pieces and words: every picture of a session draws with the same ones.
_KEPT: dict[float, tuple[dict, dict]] = {}
_PIECE = re.compile(r"[0-9.,\u2212-]|[^0-9.,\u2212-]+")


class _Renderer(RendererAgg):
    """Agg renderer that keeps every digit and every run of other letters it has drawn."""

    def __init__(self, width, height, dpi):
        super().__init__(width, height, dpi)
        self._pieces, self._words = _KEPT.setdefault(dpi, ({}, {}))

    def get_text_width_height_descent(self, s, prop, ismath):
        """Return the size of a string, from its kept pieces where it is plain."""
        if ismath:
            return super().get_text_width_height_descent(s, prop, ismath)
        pieces = [self._piece(piece, prop) for piece in _PIECE.findall(s)]
        above = max((height - below for _, _, height, below in pieces), default=0.0)
        below = max((below for *_, below in pieces), default=0.0)
        return sum(advance for _, advance, *_ in pieces), above + below, below

    def draw_text(self, gc, x, y, s, prop, angle, ismath=False, mtext=None):
        """Draw level plain words from kept pieces, all others as matplotlib does."""
        if ismath or angle or not gc.get_antialiased():
            super().draw_text(gc, x, y, s, prop, angle, ismath=ismath, mtext=mtext)
            return
        self._stamp(gc, x, y, self._known(s, prop))

    def draw_plain(self, text):
        """Draw a level one-line label straight from its stamp; return False if it is none."""
        s = text.get_text()
        if not (s and text.get_visible()):
            return True
        plain = not text.get_rotation() and "\n" not in s and "$" not in s and text.get_bbox_patch() is None
        if not plain or text.get_path_effects() or text.get_clip_on() or text.get_va() not in _UP:
            return False
        prop = text.get_fontproperties()
        word = self._known(s, prop)
        x, y = text.get_transform().transform(text.get_unitless_position())
        # As matplotlib lays out a line: at least as tall and as deep as the letters "lp".
        wide, high, below = word[3]
        x -= {"left": 0.0, "center": 0.5, "right": 1.0}[text.get_ha()] * wide
        y += _UP[text.get_va()](high, below)
        gc = self.new_gc()
        gc.set_foreground(text.get_color())
        gc.set_alpha(text.get_alpha())
        self._stamp(gc, x, self.height - y, word)
        gc.restore()
        return True

    def _stamp(self, gc, x, y, word):
        stamp, left, below, _ = word
        self._renderer.draw_text_image(stamp, round(x) - left, round(y) + below, 0, gc)

    def _known(self, s, prop):
        """Return (stamp, its left margin, its rows below the baseline, size of the line) of some words."""
        key = (s, hash(prop))
        if key not in self._words:
            if len(self._words) > 4000:  # a few MB: days of sliding must not fill the memory
                self._words.clear()
                self._pieces.clear()
            wide, high, below = self.get_text_width_height_descent(s, prop, False)
            _, least_high, least_below = self.get_text_width_height_descent("lp", prop, False)
            size = wide, max(high, least_high), max(below, least_below)
            self._words[key] = (*self._word(s, prop), size)
        return self._words[key]

    def _piece(self, text, prop):
        """Return (coverage image or None, advance, height, descent) of one piece."""
        key = (text, hash(prop))
        if key not in self._pieces:
            size = super().get_text_width_height_descent
            _, height, below = size(text, prop, False)
            # Between two bars the blanks at the ends of a piece count as well.
            advance = size(f"|{text}|", prop, False)[0] - size("||", prop, False)[0]
            self._pieces[key] = self._ink(text, prop, advance, height), advance, height, below
        return self._pieces[key]

    def _ink(self, text, prop, advance, height):
        """Draw a piece on its own, with a margin of its height left, above and below."""
        if not text.strip():
            return None
        margin = int(height) + 2
        sheet = RendererAgg(int(advance) + 2 * margin, 3 * margin, self.dpi)
        gc = sheet.new_gc()
        gc.set_foreground("black")
        sheet.draw_text(gc, margin, 2 * margin, text, prop, 0)
        return np.asarray(sheet.buffer_rgba())[..., 3].copy(), margin

    def _word(self, s, prop):
        """Put pieces side by side; return (image, its left margin, its rows below the baseline)."""
        pieces = [self._piece(piece, prop) for piece in _PIECE.findall(s)]
        margin = max((ink[1] for ink, *_ in pieces if ink), default=2)
        sheet = np.zeros((3 * margin, int(sum(p[1] for p in pieces)) + 2 * margin + 2), np.uint8)
        pen = float(margin)
        for ink, advance, _, _ in pieces:
            if ink:
                image, own = ink
                x, y = round(pen) - own, 2 * (margin - own)
                part = sheet[y : y + image.shape[0], x : x + image.shape[1]]
                np.maximum(part, image[:, : part.shape[1]], out=part)
            pen += advance
        rows, columns = sheet.any(1).nonzero()[0], sheet.any(0).nonzero()[0]
        if not rows.size:
            return sheet[:1, :1], 0, 0
        bottom, left = rows[-1] + 1, columns[0]
        stamp = np.ascontiguousarray(sheet[rows[0] : bottom, left : columns[-1] + 1])
        return stamp, int(margin - left), int(bottom - 2 * margin)


class _Canvas(FigureCanvasAgg):
    """Agg canvas that draws with the renderer above."""

    def get_renderer(self):
        """Return the renderer, a new one only when the size or sharpness changed."""
        key = (*self.figure.bbox.size, self.figure.dpi)
        if key != getattr(self, "_key", None):
            self._key, self.renderer = key, _Renderer(*key)
        return self.renderer


class _Palette:
    """Up to 256 colours, white first, and a table from 5 bits per channel to the nearest."""

    def __init__(self, colours):
        self.colours = np.array([[255, 255, 255]], np.uint8)
        asked = np.array([to_rgb(c) for c in colours]).reshape(-1, 1, 3)
        # Thin and slanted edges show a colour mixed with the paper, so mixtures come along.
        mixed = 1 - np.linspace(1, 0.2, 5)[:, None] * (1 - asked)
        mixed = (255 * mixed.transpose(1, 0, 2).reshape(-1, 3)).round().astype(np.int16)
        self._add(mixed, 2, FIRST_COLOURS // 2)

    def learn(self, pixels, room):
        """Take in the colours of some pixels: first far apart, then by how common they are."""
        found, counts = np.unique(pixels[pixels != 0xFFFFFFFF], return_counts=True)
        found = found[np.argsort(-counts, kind="stable")[:6000]].astype("<u4")
        found = found.view(np.uint8).reshape(-1, 4)[:, :3].astype(np.int16)
        self._add(found[:16], 2, room)  # the large even areas exactly
        for apart in APART:
            self._add(found, apart, room)
        self._table()

    def _add(self, found, apart, room):
        """Add colours, in the order given, that lie `apart` from every colour there."""
        taken = list(self.colours)
        for colour in taken:
            found = found[np.abs(found - colour.astype(np.int16)).max(1) >= apart]
        while len(found) and len(taken) < min(room, 256):
            taken.append(found[0].astype(np.uint8))
            found = found[np.abs(found - found[0]).max(1) >= apart]
        self.colours = np.array(taken, np.uint8)

    def _table(self):
        """Work out the nearest colour, and how far off it is, for every 5-bit colour."""
        code = np.arange(32768)
        cell = np.stack([code & 31, code >> 5 & 31, code >> 10], 1).astype(np.float32) * 8 + 3.5
        mine = self.colours.astype(np.float32)
        self.nearest = ((mine**2).sum(1) - 2 * cell @ mine.T).argmin(1).astype(np.uint8)
        own = (self.colours >> 3).astype(int) @ [1, 32, 1024]
        self.nearest[own[::-1]] = np.arange(len(own))[::-1]  # a colour's own cell; the first wins
        self.off = np.abs(cell - mine[self.nearest]).max(1).astype(np.uint8)

    def code(self, pixels):
        """Return the table position of pixels given as 32-bit words (red lowest)."""
        code = pixels >> 3 & 31
        code |= pixels >> 6 & 0x3E0
        code |= pixels >> 9 & 0x7C00
        return code


class LivePicture:
    """
    A figure with a still part, drawn once, and moving artists, drawn for every picture.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        A figure made without pyplot; it gets the size given here.
    moving : list of matplotlib.artist.Artist
        What changes between pictures. Curves and bars are drawn by zorder; labels count as
        zorder 5 at least. The list may be changed at any time.
    width, height : int
        Size on the screen in pixels; the picture itself is twice as fine.
    alt : str
        The picture in words; set the attribute anew with each result.
    colours : iterable of colour, optional
        Colours that may turn up later, such as that of a warning.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> figure = Figure()
    >>> line, = figure.add_subplot(xlim=(0, 1), ylim=(0, 1)).plot([0, 1], [0, 1])
    >>> live = LivePicture(figure, [line], 300, 200, "a rising line")
    >>> live.picture()[1:4]
    b'PNG'
    """

    def __init__(self, figure, moving, width, height, alt, colours=()):
        self.figure, self.moving, self.alt = figure, list(moving), alt
        self.canvas = _Canvas(figure)
        self._palette = _Palette(colours)
        self._learnt = False
        self.resize(width, height)

    def resize(self, width, height):
        """Give the figure another size on the screen, in pixels."""
        self.figure.set_dpi(100 * SHARPNESS)
        # The hair more keeps 201 / 100 * 200 from being cut to 401 real pixels.
        self.figure.set_size_inches((width + 1e-4) / 100, (height + 1e-4) / 100)
        self._drawn = None

    @property
    def size(self):
        """Width and height on the screen in pixels."""
        return tuple(round(100 * side) for side in self.figure.get_size_inches())

    def rebuild(self):
        """Draw the still part anew; needed after a change of axes, ticks, titles or grid."""
        for artist in self.moving:
            artist.set_animated(True)
        self.canvas.draw()
        frame = np.asarray(self.canvas.buffer_rgba())
        self._frame = frame.view(np.uint32)[..., 0]
        self._still = self._frame.copy()
        if not self._learnt:
            self._learn_all()
        self._forget()
        self._drawn = self._state()

    def picture(self):
        """Return the figure as it is now, as the bytes of a PNG file."""
        if self._drawn is None or self._drawn != self._state():
            self.rebuild()
        np.copyto(self._frame, self._still)
        self._draw_moving()
        self._index_changes()
        return self._png

    def data_uri(self):
        """Return the picture as text that can stand in an `img` element's `src`."""
        return "data:image/png;base64," + b64encode(self.picture()).decode("ascii")

    def html(self):
        """Return a whole `img` element, its size and words included."""
        width, height = self.size
        alt = escape(self.alt, quote=True)
        return f'<img alt="{alt}" width="{width}" height="{height}" src="{self.data_uri()}">'

    def _state(self):
        """Return what the kept still part depends on."""
        return self.canvas.get_renderer(), [id(artist) for artist in self.moving]

    def _draw_moving(self, everything=False):
        renderer = self.canvas.get_renderer()
        for artist in sorted(self.moving, key=_order):
            if artist.get_figure() is None:  # taken off its axes, still in the list
                continue
            if everything and not artist.get_visible():
                artist.set_visible(True)
                artist.draw(renderer)
                artist.set_visible(False)
            elif not (isinstance(artist, Text) and renderer.draw_plain(artist)) and not _empty(artist):
                artist.draw(renderer)

    def _learn_all(self):
        """Choose the palette from a picture with all artists in it, hidden ones too."""
        self._draw_moving(everything=True)
        self._palette.learn(self._frame.ravel(), FIRST_COLOURS)
        self._learnt = True

    def _forget(self):
        """Start the kept picture from plain white paper."""
        height, width = self._frame.shape
        self._last = np.full((height, width), 0xFFFFFFFF, np.uint32)
        self._rows = np.zeros((height, width + 1), np.uint8)  # column 0: PNG filter "none"
        self._strips = [None] * -(-height // STRIP)
        self._png = None

    def _index_changes(self):
        """Colour the pixels that differ from the last picture and pack their strips anew."""
        changed = self._frame != self._last
        places = np.flatnonzero(changed)
        if self._png and not places.size:
            return
        pixels = self._frame.ravel()[places]
        code = self._palette.code(pixels)
        colours, off = len(self._palette.colours), self._palette.off[code]
        missed = [level for level, enough in MISSED if np.count_nonzero(off > level) > enough]
        if missed and colours < 256:
            self._palette.learn(pixels[off > missed[0]], colours + 48)
            self._forget()
            self._index_changes()
            return
        width = self._frame.shape[1]
        self._rows.ravel()[places + places // width + 1] = self._palette.nearest[code]
        rows = changed.any(1)
        self._last.ravel()[places] = pixels
        for number, old in enumerate(self._strips):
            part = slice(number * STRIP, (number + 1) * STRIP)
            if old is None or rows[part].any():
                self._strips[number] = _pack(self._rows[part])
        self._png = self._file()

    def _file(self):
        """Join the packed strips to a PNG file."""
        height, width = self._frame.shape
        check = struct.pack(">I", zlib.adler32(self._rows))
        parts = {
            b"IHDR": struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0),  # 8 bits, palette
            b"PLTE": self._palette.colours.tobytes(),
            b"IDAT": b"".join([b"\x78\x01", *self._strips, b"\x03\x00", check]),
            b"IEND": b"",
        }
        return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(*part) for part in parts.items())


def _empty(artist):
    """Return whether an artist is a line with nothing in it."""
    return isinstance(artist, Line2D) and len(artist.get_xdata(orig=True)) == 0


def _order(artist):
    """Return the drawing order of a moving artist: words and legends after the rest."""
    order = artist.get_zorder()
    return max(order, LABEL_ORDER) if isinstance(artist, Text | Legend) else order


def _pack(rows):
    """Deflate some rows so that the result can be joined to others in one stream."""
    # Runs of one colour are nearly all there is to find; looking for more takes longer.
    packer = zlib.compressobj(1, zlib.DEFLATED, -15, 8, zlib.Z_RLE)
    return packer.compress(rows) + packer.flush(zlib.Z_FULL_FLUSH)


def _chunk(kind, data):
    """Return one chunk of a PNG file."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
