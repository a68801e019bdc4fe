"""Several headsets, one incident: stations hear and speak, one coordinator decides and journals, a standby follows.

Commands and events travel over an MQTT 5 broker; sound never does. Nothing here decides what a command does: that is
`protocol`, and how late or repeated commands are taken is `protocol.rules.delivering`.
"""
