"""A page as a tagged PDF. Nothing is fetched: style and typeface lie beside the program."""

from base64 import b64encode
from functools import cache

from clinic.fonts import font_file


class NoPaper(Exception):
    """Pango, which lays out the text, is not installed on this server."""


def pdf_of_html(html: str, style: str) -> bytes:
    """The page as PDF/UA: the same input gives the same bytes. Pictures may only be data within the page."""
    try:
        from weasyprint import CSS, HTML
    except OSError as missing:  # the text layout library of the system
        raise NoPaper from missing
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import URLFetcher

    faces = FontConfiguration()
    styles = [CSS(string=typeface(), font_config=faces), CSS(string=style, font_config=faces)]
    page = HTML(string=html, url_fetcher=URLFetcher(allowed_protocols={"data"}))
    return page.write_pdf(stylesheets=styles, font_config=faces, pdf_variant="pdf/ua-1")


@cache
def typeface() -> str:
    """The @font-face rules, with the files inside as data."""
    rules = []
    for weight, file in (("400", "Regular"), ("700", "Bold")):
        data = b64encode(font_file(file).read_bytes()).decode()
        source = f"url(data:font/ttf;base64,{data})"
        rules.append(f"@font-face {{ font-family: 'Atkinson Hyperlegible'; font-weight: {weight}; src: {source} }}")
    return "\n".join(rules)
