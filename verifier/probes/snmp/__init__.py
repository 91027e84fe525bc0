"""SNMP v1, v2c and v3: reads objects and tables, and tells apart why an agent does not answer."""

from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import (
    ColumnTable,
    Outcome,
    SnmpReply,
    SnmpTarget,
    VarBind,
    error_name,
)
from verifier.probes.snmp.walk import REPETITIONS

__all__ = [
    "REPETITIONS",
    "ColumnTable",
    "Outcome",
    "SnmpClient",
    "SnmpReply",
    "SnmpTarget",
    "VarBind",
    "error_name",
]
