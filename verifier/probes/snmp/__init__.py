"""SNMP v1, v2c and v3: reads objects and tables, and tells apart why an agent does not answer."""

from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import Binding, Outcome, Reply, Table, Target, error_name
from verifier.probes.snmp.walk import REPETITIONS

__all__ = [
    "REPETITIONS",
    "Binding",
    "Outcome",
    "Reply",
    "SnmpClient",
    "Table",
    "Target",
    "error_name",
]
