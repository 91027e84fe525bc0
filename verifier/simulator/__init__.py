"""A network on the loopback range: SNMP agents that show what a plan says, and faults on demand.

Linux only. Serves nothing outside 127.0.0.0/8.
"""
