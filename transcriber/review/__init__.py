"""The page on which a person hears, checks and corrects a draft: a server on this machine only.

The page itself, plain modules of JavaScript, lies in `page/`. It draws what `sheet` gives it and sends
corrections back, which go straight to the journal beside the draft.
"""

from transcriber.review.serving import ReviewSettings, serve_review

__all__ = ["ReviewSettings", "serve_review"]
