"""The conductor: plan and settings in, one verified result out."""

from verifier.session.request import Probing, Request
from verifier.session.run import run

__all__ = ["Probing", "Request", "run"]
