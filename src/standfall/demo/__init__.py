"""The invented build that the documentation and the demo command show: a kingfisher in a tram depot."""

from standfall.demo.brief import brief_text
from standfall.demo.kingfisher import kingfisher_svg

__all__ = ["brief_text", "kingfisher_svg"]
