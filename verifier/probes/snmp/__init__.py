"""SNMP v1, v2c and v3: reads objects and tables, and tells apart why an agent does not answer.

pysnmp is used as codec and security model only (`engine`). Sending, waiting, retries and the ICMP
error queue are ours, so that a late answer still counts, a dead agent costs exactly its timeout,
and *port unreachable* is heard.
"""
