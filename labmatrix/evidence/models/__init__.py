"""Persistent things of this room, one noun a file."""

from labmatrix.evidence.models.blob import Blob
from labmatrix.evidence.models.heartbeat import Heartbeat
from labmatrix.evidence.models.job import Job
from labmatrix.evidence.models.ledger import LedgerEntry
from labmatrix.evidence.models.record import TESTS, ChannelMapSaved, Record, RecordFile
from labmatrix.evidence.models.subject import Subject

__all__ = [
    "TESTS",
    "Blob",
    "ChannelMapSaved",
    "Heartbeat",
    "Job",
    "LedgerEntry",
    "Record",
    "RecordFile",
    "Subject",
]
