"""SNMPv3 messages for pysnmp whose values stay octets, so that one odd value spoils no other.

pysnmp refuses a whole message where one value is outside its type. Of a Response it is given a form
in which each value is whatever follows the name; `smi` reads that.
"""

from __future__ import annotations

from typing import Any

from pyasn1.type import namedtype, univ
from pysnmp.proto import rfc1902, rfc1905
from pysnmp.proto.mpmod import rfc3412


class _VarBind(univ.Sequence):  # type: ignore[misc]
    componentType = namedtype.NamedTypes(  # noqa: N815 - pyasn1's name
        namedtype.NamedType("name", rfc1902.ObjectName()),
        namedtype.NamedType("value", univ.Any()),
    )


class _VarBindList(univ.SequenceOf):  # type: ignore[misc]
    componentType = _VarBind()  # noqa: N815


class _Response(univ.Sequence):  # type: ignore[misc]
    tagSet = rfc1905.ResponsePDU.tagSet  # noqa: N815
    componentType = namedtype.NamedTypes(  # noqa: N815
        namedtype.NamedType("request-id", univ.Integer()),
        namedtype.NamedType("error-status", univ.Integer()),
        namedtype.NamedType("error-index", univ.Integer()),
        namedtype.NamedType("variable-bindings", _VarBindList()),
    )


def _with(sequence: Any, name: str, kind: Any) -> Any:
    """The component types of a sequence or choice with one of them replaced."""
    return namedtype.NamedTypes(
        *(
            namedtype.NamedType(own, kind if own == name else type_)
            for own, type_ in sequence.componentType.items()
        )
    )


class _Pdus(univ.Choice):  # type: ignore[misc]
    componentType = _with(rfc1905.PDUs, "response", _Response())  # noqa: N815


class _ScopedPdu(univ.Sequence):  # type: ignore[misc]
    componentType = _with(rfc3412.ScopedPDU, "data", _Pdus())  # noqa: N815


class _ScopedPduData(univ.Choice):  # type: ignore[misc]
    componentType = _with(rfc3412.ScopedPduData, "plaintext", _ScopedPdu())  # noqa: N815


class _Message(univ.Sequence):  # type: ignore[misc]
    componentType = _with(rfc3412.SNMPv3Message, "msgData", _ScopedPduData())  # noqa: N815


def keep_octets(engine: Any) -> None:
    """Makes a pysnmp engine leave the values of SNMPv3 responses as they came."""
    model = engine.message_processing_subsystems[3]
    model._snmpMsgSpec = _Message()  # noqa: SLF001 - there is no public way
