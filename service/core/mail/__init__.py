"""Mail as plain values: the person's own words, what kind of mail it is, who vouches for its sender."""

from service.core.mail.kinds import Kind, kind_of
from service.core.mail.received import Delivery, Mail
from service.core.mail.trust import vouched
from service.core.mail.words import own_words

__all__ = ["Delivery", "Kind", "Mail", "kind_of", "own_words", "vouched"]
