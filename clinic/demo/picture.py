"""A drawn toe as a telephone would send it: lying on its side, with the place and the time it was taken."""

from io import BytesIO

from PIL import Image, ImageDraw

SIZE = (1600, 1200)
CLOTH, SKIN, FOLD, PLATE, EDGE = "#9fb6b4", "#e6c2ae", "#d3a48d", "#f1dcd2", "#b98673"
ORIENTATION, DESCRIPTION, GPS = 0x0112, 0x010E, 0x8825
TURNED_RIGHT = 6
PLACE = "Example Street 1, Tarnwick Sands"
# Where the equator meets the meridian of Greenwich, in the sea.
NOWHERE = {1: "N", 2: (0.0, 0.0, 1.0), 3: "E", 4: (0.0, 0.0, 1.0), 29: "2026:11:25"}


def picture_with_place() -> bytes:
    """A JPEG file that says more than it shows."""
    upright = drawn_toe()
    carried = Image.Exif()
    carried[ORIENTATION], carried[DESCRIPTION], carried[GPS] = TURNED_RIGHT, PLACE, NOWHERE
    target = BytesIO()
    upright.transpose(Image.Transpose.ROTATE_90).save(target, "JPEG", quality=85, exif=carried, comment=PLACE)
    return target.getvalue()


def drawn_toe() -> Image.Image:
    """From above, the nail a little narrower on its right as after a partial avulsion."""
    picture = Image.new("RGB", SIZE, CLOTH)
    draw = ImageDraw.Draw(picture)
    draw.rounded_rectangle((480, 80, 1120, 1700), radius=320, fill=SKIN, outline=EDGE, width=6)
    draw.rounded_rectangle((590, 190, 1010, 640), radius=170, fill=FOLD)
    draw.rounded_rectangle((620, 170, 950, 610), radius=130, fill=PLATE, outline=EDGE, width=5)
    for height in (820, 870, 915):
        draw.arc((600, height, 1000, height + 90), 200, 340, fill=EDGE, width=5)
    draw.text((30, 30), "Drawn for the demonstration; nobody's toe", fill="#274744", font_size=36)
    return picture
