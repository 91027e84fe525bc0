"""The conductor: plan and settings in, one verified result out."""

from verifier.session.limits import Probing
from verifier.session.request import Request
from verifier.session.run import run

__all__ = ["Probing", "Request", "run"]
