"""What is written on a panel and on a drawing of the screen's size, looked at word by word."""

import re
from html import unescape
from itertools import combinations


def words(panel):
    """Return all that stands on the screen of a panel, as text."""
    return unescape(re.sub(r"<[^>]+>", " ", panel.screen.value)).replace("\xa0", " ")


def put(panel, setting, value):
    """Move the control of a setting, and return the panel."""
    panel._control(setting).widget.value = value
    return panel


def nothing_is_lost(texts, renderer):
    """Look that no words are cut off at 880 x 424 pixels, too small, or over each other."""
    places = []
    for text in texts:
        assert text.get_fontsize() >= 9
        box = text.get_window_extent(renderer)
        assert box.x0 >= -1, text.get_text()
        assert box.x1 <= 881, text.get_text()
        assert box.y0 >= -1, text.get_text()
        assert box.y1 <= 425, text.get_text()
        places.append((text.get_text(), box.x0 + 1, box.x1 - 1, box.y0 + 4, box.y1 - 4))
    assert places
    for (one, *a), (other, *b) in combinations(places, 2):
        apart = a[1] <= b[0] or b[1] <= a[0] or a[3] <= b[2] or b[3] <= a[2]
        assert apart, (one, other)
