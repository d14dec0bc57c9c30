"""Declare the documents of each verb with `--json`; the schemas and the guide come from here.

A verb prints no key that its model does not have: tests run every verb and judge what it prints.
"""

from collections.abc import Mapping
from typing import Any

from pydantic import TypeAdapter

from coordinator.cli.documents.checked_documents import CheckDocument
from coordinator.cli.documents.commissioned_documents import (
    AcceptanceDocument,
    ListsDocument,
    MatrixDocument,
    PackDocument,
    PointsDocument,
)
from coordinator.cli.documents.document import Document, ErrorDocument
from coordinator.cli.documents.drawn_documents import (
    BreaksDocument,
    BrokerDocument,
    CompareDocument,
    ContractDocument,
    DrawDocument,
    JointDocument,
    NewDocument,
    SchemaDocument,
)
from coordinator.cli.documents.ran_documents import (
    GatewayDocument,
    GatewayOnceDocument,
    LookDocument,
    RunDocument,
    TimelineDocument,
)
from coordinator.cli.documents.recorded_documents import (
    CertificateDocument,
    DurationsDocument,
    ExportDocument,
    LookBackDocument,
    RecordDocument,
    RecordsDocument,
    RejudgeDocument,
    TrendsDocument,
    VerifyDocument,
)
from coordinator.cli.documents.rehearsed_documents import (
    BestOrderDocument,
    CampaignDocument,
    DryRunDocument,
    FaultsDocument,
    ReplayDocument,
    ToTestDocument,
)

VERBS: Mapping[str, tuple[type[Document], ...]] = {
    "check": (CheckDocument,),
    "dryrun": (DryRunDocument, BestOrderDocument),
    "faults": (FaultsDocument,),
    "timeline": (TimelineDocument,),
    "joint": (JointDocument,),
    "draw": (DrawDocument,),
    "compare": (CompareDocument,),
    "schema": (SchemaDocument,),
    "contract": (ContractDocument, BreaksDocument, BrokerDocument),
    "fuzz": (CampaignDocument,),
    "replay": (ReplayDocument, ToTestDocument),
    "new": (NewDocument,),
    "run": (RunDocument,),
    "resume": (RunDocument, LookDocument),
    "gateway": (GatewayOnceDocument, GatewayDocument),
    "records list": (RecordsDocument,),
    "records export": (ExportDocument,),
    "records re-judge": (RejudgeDocument,),
    "records look-back": (LookBackDocument,),
    "records trends": (TrendsDocument, DurationsDocument),
    "records certificate": (CertificateDocument,),
    "records show": (RecordDocument,),
    "records verify": (VerifyDocument,),
    "commission arm": (AcceptanceDocument,),
    "commission points": (PointsDocument,),
    "commission matrix": (MatrixDocument,),
    "commission lists": (ListsDocument,),
    "commission pack": (PackDocument,),
}
"""What each verb prints, without `ErrorDocument`, which any may print."""


def schema_of_document(verb: str) -> dict[str, Any]:
    """Return the JSON Schema of everything that a verb may print on stdout with `--json`."""
    union: Any = ErrorDocument
    for one in VERBS[verb]:
        union |= one
    schema: dict[str, Any] = TypeAdapter(union).json_schema()
    return {"title": f"bothsides {verb} --json", **schema}
