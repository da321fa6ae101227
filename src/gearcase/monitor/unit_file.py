"""The unit file by which a service manager keeps a watch running: started at boot, started again when it fails or hangs, shut in.

Directives are those of systemd.unit(5), systemd.service(5) and systemd.exec(5). The watch may write in its job's folder and nowhere
else, see no device but its serial line, and bind no port below 1024 unless the job serves one there.
"""

from pathlib import Path

from gearcase.job.build import Job

__all__ = ["unit_file"]

_WATCHDOG = 120  # s; rounds that have not gone on for so long are a watch that hangs
_LEAST_FREE_PORT = 1024

_TEXT = """\
# Made by gearcase unit. Put it at /etc/systemd/system/{name}.service, then:
#   systemctl daemon-reload && systemctl enable --now {name}
[Unit]
Description=gearcase watch of {title}
Wants=network-online.target
After=network-online.target time-sync.target
StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
ExecStart={python} -m gearcase.cli watch {folder}
ExecReload=/bin/kill -HUP $MAINPID
Restart=always
RestartSec=5
TimeoutStartSec=120
TimeoutStopSec=60
WatchdogSec={watchdog}
# left with an alarm, or with none
SuccessExitStatus=0 1
User={user}
WorkingDirectory={directory}
UMask=0077
MemoryMax=1G
NoNewPrivileges=yes
{capabilities}
ProtectSystem=strict
ProtectHome=read-only
ReadWritePaths={folder}
PrivateTmp=yes
{devices}
ProtectClock=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
LockPersonality=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service

[Install]
WantedBy=multi-user.target
"""


def unit_file(job: Job, folder: Path, *, python: str, user: str) -> str:
    """The text of the unit for a job.

    Parameters
    ----------
    job : Job
    folder : Path
        Of the job, absolute.
    python : str
        Path of the interpreter that has gearcase.
    user : str
        Who it runs as.
    """
    serial = job.bus.connection.partition(" ")[2].strip() if job.bus.connection.startswith("serial") else ""
    devices = (
        f"DevicePolicy=closed\nDeviceAllow={_word(serial)} rw\nSupplementaryGroups=dialout" if serial else "PrivateDevices=yes"
    )
    served = [face.port for face in (job.publish.modbus, job.publish.opcua) if face is not None]
    low = any(port < _LEAST_FREE_PORT for port in served)
    bind = "AmbientCapabilities=CAP_NET_BIND_SERVICE\nCapabilityBoundingSet=CAP_NET_BIND_SERVICE"
    return _TEXT.format(
        name=f"gearcase-{folder.name.replace(' ', '-')}",
        title=" ".join(job.title.replace("%", "%%").split()),
        python=_word(python),
        folder=_word(str(folder)),
        directory=str(folder).replace("%", "%%"),
        watchdog=_WATCHDOG,
        user=user,
        capabilities=bind if low else "CapabilityBoundingSet=",
        devices=devices,
    )


def _word(text: str) -> str:
    """A path as one word of a directive."""
    plain = text.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return f'"{plain}"' if any(one in plain for one in " \t\\'\"") else plain
