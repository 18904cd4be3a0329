"""A service unit for the recorder: systemd.service(5), shut in with systemd.exec(5)."""

import shlex
from collections.abc import Sequence

_UNIT = """\
# /etc/systemd/system/linkfit-record.service
# then: systemctl daemon-reload && systemctl enable --now linkfit-record
[Unit]
Description=Record a link: interface counters, round trips, tests within a budget
Wants=network-online.target
After=network-online.target

[Service]
Type=notify
NotifyAccess=main
ExecStart={command}
Restart=always
RestartSec=5
WatchdogSec=60
DynamicUser=yes
StateDirectory=linkfit
StateDirectoryMode=0755
UMask=0022
WorkingDirectory=/var/lib/linkfit
Nice=5
MemoryMax=256M
TasksMax=64
NoNewPrivileges=yes
AmbientCapabilities=CAP_NET_RAW
CapabilityBoundingSet=CAP_NET_RAW
ProtectSystem=strict
ProtectHome=yes
PrivateTmp=yes
PrivateDevices=yes
ProtectClock=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
ProtectControlGroups=yes
ProtectProc=invisible
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallErrorNumber=EPERM

[Install]
WantedBy=multi-user.target
"""


def unit_text(command: Sequence[str]) -> str:
    """The unit that runs `command`.

    Notes
    -----
    The store lies in /var/lib/linkfit, which the manager makes for the recorder's own user. The
    one capability is for ping's raw socket; 256 MB leave room for a test's child process.
    """
    # in a unit a percent sign starts a specifier, and a dollar sign a variable
    words = (shlex.quote(word).replace("%", "%%").replace("$", "$$") for word in command)
    return _UNIT.format(command=" ".join(words))
