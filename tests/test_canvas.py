"""The fast picture: same look as a plain rendering, and never a stale or wrong-looking pixel."""

import io

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from loopmath.panels.canvas import LivePicture


@pytest.fixture
def live():
    figure = Figure()
    axes = figure.add_axes([0.1, 0.15, 0.85, 0.7], xlim=(0, 10), ylim=(0, 5), title="Loop")
    axes.set_xlabel("Flow, L/min")
    axes.grid(color="#DDD")
    axes.set_axisbelow(True)
    (curve,) = axes.plot([0, 10], [4, 1], color="#0072B2", lw=2)
    bars = axes.bar([2, 4, 6], [1, 2, 3], color="#D55E00")
    label = axes.text(5, 4.5, "3.42 L/min at 1.20 m", color="#222", ha="center", va="top")
    return LivePicture(figure, [curve, *bars, label], 400, 240, "a curve and three bars")


def decoded(png):
    image = Image.open(io.BytesIO(png))
    image.load()
    return np.asarray(image.convert("RGB")).astype(int)


def plain(live):
    """Render the same figure with matplotlib alone."""
    for artist in live.moving:
        artist.set_animated(False)
    canvas = FigureCanvasAgg(live.figure)
    canvas.draw()
    live.figure.set_canvas(live.canvas)
    for artist in live.moving:
        artist.set_animated(True)
    return np.asarray(canvas.buffer_rgba())[..., :3].astype(int)


def agrees(picture, wanted, level=24, share=0.005):
    return (np.abs(picture - wanted).max(2) > level).mean() <= share


def test_picture_equals_the_drawn_pixels_at_every_step(live):
    for step in range(25):
        live.moving[0].set_ydata([4 - step / 10, 1 + step / 20])
        live.moving[2].set_height(step / 6)
        live.moving[-1].set_text(f"{step / 7:.2f} L/min")
        picture = decoded(live.picture())
        assert picture.shape == (480, 800, 3)
        drawn = np.asarray(live.canvas.buffer_rgba())[..., :3].astype(int)
        assert agrees(picture, drawn, level=16, share=0.001)
        assert (picture[(drawn == 255).all(2)] == 255).all()
        assert (picture[0, 0] == 255).all()


def test_picture_looks_like_plain_matplotlib(live):
    assert agrees(decoded(live.picture()), plain(live), level=80, share=0.01)


@pytest.mark.parametrize("style", [{"rotation": 30}, {"ha": "right"}, {"fontweight": "bold"}, {"fontsize": 15}])
@pytest.mark.parametrize("words", ["AVATAR To 12.5 degC", "two\nlines 7", r"$R^2$", "-3 \u2212 4", "g", "  a  b "])
def test_words_stand_where_matplotlib_puts_them(live, style, words):
    label = live.moving[-1]
    label.set(text=words, **style)
    ink = [np.nonzero((image[:140] < 100).all(2)) for image in (decoded(live.picture()), plain(live))]
    for mine, theirs in zip(*ink, strict=True):
        assert abs(mine.min() - theirs.min()) <= 2
        assert abs(mine.max() - theirs.max()) <= 2


def test_same_state_gives_same_bytes(live):
    first = live.picture()
    assert live.picture() == first
    live.moving[-1].set_text("other words 0123")
    assert live.picture() != first
    live.moving[-1].set_text("3.42 L/min at 1.20 m")
    assert live.picture() == first
    live.rebuild()
    assert live.picture() == first


def test_hidden_artist_vanishes_and_comes_back(live):
    shown = live.picture()
    live.moving[2].set_visible(False)
    hidden = decoded(live.picture())
    assert agrees(hidden, plain(live), level=80, share=0.01)
    assert not (hidden == (0xD5, 0x5E, 0)).all(2)[:, 330:370].any()
    live.moving[2].set_visible(True)
    assert live.picture() == shown


def test_rebuild_shows_a_change_of_the_still_part(live):
    before = live.picture()
    live.figure.axes[0].set(title="Another title", xlim=(0, 20))
    live.rebuild()
    assert live.picture() != before
    assert agrees(decoded(live.picture()), plain(live), level=80, share=0.01)


def test_other_size_and_a_file_written_in_between(live):
    first = live.picture()
    live.figure.savefig(io.BytesIO(), format="png", dpi=90)
    assert live.picture() == first
    live.resize(300, 201)
    assert decoded(live.picture()).shape == (402, 600, 3)
    assert live.size == (300, 201)
    live.figure.set_size_inches(4, 2.4)
    assert decoded(live.picture()).shape == (480, 800, 3)


def test_moving_artists_can_be_added_and_taken_away(live):
    first = live.picture()
    extra = live.figure.axes[0].axhline(2.5, color="#CC79A7", ls="--")
    live.moving.append(extra)
    assert live.picture() != first
    assert agrees(decoded(live.picture()), plain(live), level=80, share=0.01)
    extra.remove()
    assert agrees(decoded(live.picture()), decoded(first))
    live.moving.remove(extra)
    assert agrees(decoded(live.picture()), decoded(first))


@pytest.mark.parametrize("colour", ["#FF0000", "#00FF00", "#7F00FF", "#FFFF66", "#123456"])
def test_a_colour_the_palette_never_saw_is_still_right(live, colour):
    live.picture()
    live.moving[2].set_color(colour)
    picture = decoded(live.picture())
    wanted = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
    x, y = live.figure.axes[0].transData.transform((4, 1))
    assert np.abs(picture[480 - int(y), int(x)] - wanted).max() <= 8


def test_very_many_colours_come_out_near(live):
    live.moving.append(live.figure.axes[0].imshow(np.random.default_rng(1).random((9, 9, 3)), extent=(0, 10, 0, 5)))
    picture = decoded(live.picture())
    drawn = np.asarray(live.canvas.buffer_rgba())[..., :3].astype(int)
    assert agrees(picture, drawn, level=60)


def test_labels_lie_over_curves(live):
    live.moving[-1].set(position=(5, 3), text="MMMM", color="#000000", fontsize=30, va="center")
    live.moving.reverse()
    picture = decoded(live.picture())
    curve = live.moving[-1]
    curve.set_visible(False)
    ink = (decoded(live.picture()) < 8).all(2)
    ink[:, :100] = ink[:, 700:] = False  # the curve covers the axes at its two ends
    assert (picture[ink] < 60).all()


def test_html_carries_size_and_words(live):
    live.alt = 'flow "3" < 4'
    text = live.html()
    assert 'width="400" height="240"' in text
    assert "flow &quot;3&quot; &lt; 4" in text
    assert live.data_uri() in text
    assert len(live.data_uri()) < 120_000
