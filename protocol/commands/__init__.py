"""What may be asked of the procedure. Each command carries its time and where it came from."""

from protocol.commands.drills import (
    BeginDrill,
    EndDrill,
    GiveInject,
    PauseDrill,
    RewindDrill,
    TrainerNote,
)
from protocol.commands.origin import PROGRAM, Origin, Query, Role
from protocol.commands.parts import BeginHearing, KeepAudio, ReportPart, ReportStation, TakeLead
from protocol.commands.procedure import (
    Advance,
    Affirm,
    AnswerRollCall,
    Ask,
    CallLevel,
    CallOutside,
    CheckPerson,
    Correct,
    CountCanister,
    EndWork,
    Hold,
    MoveRescuer,
    Negate,
    Note,
    OpenIncident,
    Override,
    RaiseEmergency,
    RecordLine,
    ReportAir,
    Resume,
    StepBack,
    TapeCorner,
    Tick,
    WithdrawEmergency,
)

Command = (
    OpenIncident | Advance | Affirm | Negate | ReportAir | CountCanister | CallLevel | TapeCorner | CallOutside
    | CheckPerson | AnswerRollCall | MoveRescuer | RecordLine | StepBack | Correct | Hold | Resume | RaiseEmergency
    | WithdrawEmergency | Ask | Override | EndWork | ReportPart | ReportStation | BeginHearing | TakeLead | KeepAudio
    | Note | Tick | BeginDrill | EndDrill | GiveInject | PauseDrill | RewindDrill | TrainerNote
)  # fmt: skip

__all__ = [
    "PROGRAM",
    "Advance",
    "Affirm",
    "AnswerRollCall",
    "Ask",
    "BeginDrill",
    "BeginHearing",
    "CallLevel",
    "CallOutside",
    "CheckPerson",
    "Command",
    "Correct",
    "CountCanister",
    "EndDrill",
    "EndWork",
    "GiveInject",
    "Hold",
    "KeepAudio",
    "MoveRescuer",
    "Negate",
    "Note",
    "OpenIncident",
    "Origin",
    "Override",
    "PauseDrill",
    "Query",
    "RaiseEmergency",
    "RecordLine",
    "ReportAir",
    "ReportPart",
    "ReportStation",
    "Resume",
    "RewindDrill",
    "Role",
    "StepBack",
    "TakeLead",
    "TapeCorner",
    "Tick",
    "TrainerNote",
    "WithdrawEmergency",
]
