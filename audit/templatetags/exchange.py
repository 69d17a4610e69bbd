"""Charts of the comparison on a page, whatever their kind."""

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from django import template
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from audit.charts import telling, words
from audit.charts.telling import AnyChart
from audit.exchange.words import period_words
from audit.templatetags.figures import kept_together, picture_sources

register = template.Library()

register.filter("any_table", telling.table)
register.filter("period_words", period_words)


@register.filter
def number(rate: float) -> str:
    """A percentage without its sign, for a large figure."""
    return words.percent(rate).removesuffix(" %")


@register.filter
def between(found: Any) -> str:
    """Both ends of an interval, of a pool or of a proportion: "2.0 to 12.2 %"."""
    if found is None or found.low is None or found.high is None:
        return ""
    return kept_together(f"{words.limits(found.low, found.high)} %")


@register.simple_tag
def compare_address(chart: AnyChart, key: str, form: str, query: Mapping[str, str], **look: str) -> str:
    return f"{reverse('compare-chart', args=[key, chart.slug, form])}?{urlencode({**query, **look})}"


@register.simple_tag
def compare_picture(chart: AnyChart, key: str, query: Mapping[str, str], theme: str = "") -> SafeString:
    """The picture in every size and theme a reader may need; the browser fetches one of them."""
    sources = format_html_join(
        "",
        '<source media="{}" srcset="{}">',
        (
            (media, compare_address(chart, key, "svg", query, theme=look, width=width))
            for media, look, width in picture_sources(theme)
        ),
    )
    plain = compare_address(chart, key, "svg", query, theme="dark" if theme == "dark" else "light", width="narrow")
    return format_html(
        '<picture>{}<img src="{}" alt="{}" loading="lazy"></picture>', sources, plain, telling.alt_text(chart)
    )
