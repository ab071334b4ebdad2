"""What people read: templates and the one place that fills them."""

from service.wording.compose import LINK, Written, by_link, compose, compose_many, fill, html

__all__ = ["LINK", "Written", "by_link", "compose", "compose_many", "fill", "html"]
