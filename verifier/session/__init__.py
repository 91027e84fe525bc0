"""The conductor: plan and settings in, one verified result out."""

from verifier.session.limits import Probing
from verifier.session.run import Request, run

__all__ = ["Probing", "Request", "run"]
