"""What lets a system start the server by itself: a file for it, with true paths."""

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

NAME = "fayline"
LABEL = "local.fayline"
# What a shop may have set where it serves by hand; a service sees none of it.
PASSED_ON = (
    "FAYLINE_HOME",
    "FAYLINE_FILES",
    "FAYLINE_LOG",
    "FAYLINE_HOSTS",
    "FAYLINE_HTTPS",
    "FAYLINE_SHOP",
    "FAYLINE_TIME_ZONE",
    "FAYLINE_PAPER",
)
# A password is not for a file that everybody may read, nor for a terminal. The keys of
# a store of files are found by boto3.
IN_A_FILE_OF_ITS_OWN = (
    "DATABASE_URL",
    "FAYLINE_SECRET_KEY",
    "AWS_ACCESS_KEY_ID",
    "AWS_SECRET_ACCESS_KEY",
    "AWS_SESSION_TOKEN",
)


@dataclass(frozen=True)
class Service:
    """What is to run, where, as whom.

    settings: the environment. secrets: the path of a file for the owner alone, where
    lines NAME=VALUE say the rest.
    """

    python: Path
    tree: Path
    options: tuple[str, ...]
    user: str
    settings: Mapping[str, str]
    secrets: Path

    @property
    def command(self) -> list[str]:
        return [str(self.python), str(self.tree / "manage.py"), "serve", *self.options]


def kind_of_system() -> str:
    return {"darwin": "macos", "win32": "windows"}.get(sys.platform, "linux")


def systemd(service: Service) -> str:
    """A unit of systemd; paths with spaces are quoted, percent signs doubled."""
    settings = [f"{name}={value}" for name, value in service.settings.items()]
    environment = "\n".join(f"Environment={_unit(setting)}" for setting in settings)
    return f"""\
# /etc/systemd/system/{NAME}.service
#   sudo systemctl daemon-reload && sudo systemctl enable --now {NAME}
#   journalctl -u {NAME} says what it said; the log lies in FAYLINE_LOG.
[Unit]
Description=Fayline, the shop's quality records
Wants=network-online.target
After=network-online.target postgresql.service

[Service]
User={service.user}
WorkingDirectory={str(service.tree).replace("%", "%%")}
{environment}
# Lines NAME=VALUE that only its owner may read, as DATABASE_URL with a password, AWS_…
EnvironmentFile=-{str(service.secrets).replace("%", "%%")}
ExecStart={" ".join(_unit(word).replace("$", "$$") for word in service.command)}
Restart=on-failure
RestartSec=2
KillSignal=SIGTERM
TimeoutStopSec=30
UMask=0077
NoNewPrivileges=true
PrivateTmp=true
ProtectSystem=full

[Install]
WantedBy=multi-user.target
"""


def _unit(text: str) -> str:
    quoted = text.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{quoted}"'


def launchd(service: Service) -> str:
    """A property list of launchd, for a daemon that starts with the computer."""
    words = "\n".join(
        f"    <string>{escape(word)}</string>" for word in service.command
    )
    settings = "\n".join(
        f"    <key>{escape(name)}</key><string>{escape(value)}</string>"
        for name, value in service.settings.items()
    )
    return f"""\
<?xml version="1.0" encoding="UTF-8"?>
<!-- /Library/LaunchDaemons/{LABEL}.plist, owned by root, mode 600 where it holds a
     password (DATABASE_URL, AWS_… of a store, among the variables below).
     sudo launchctl bootstrap system /Library/LaunchDaemons/{LABEL}.plist -->
<!DOCTYPE plist PUBLIC "-//Apple//DTD PLIST 1.0//EN"
  "http://www.apple.com/DTDs/PropertyList-1.0.dtd">
<plist version="1.0">
<dict>
  <key>Label</key><string>{LABEL}</string>
  <key>UserName</key><string>{escape(service.user)}</string>
  <key>WorkingDirectory</key><string>{escape(str(service.tree))}</string>
  <key>ProgramArguments</key>
  <array>
{words}
  </array>
  <key>EnvironmentVariables</key>
  <dict>
{settings}
  </dict>
  <key>RunAtLoad</key><true/>
  <key>KeepAlive</key><dict><key>SuccessfulExit</key><false/></dict>
  <key>Umask</key><integer>63</integer>
</dict>
</plist>
"""


def windows(service: Service) -> str:
    """A script for PowerShell that makes a task which starts with the computer."""
    program, *words = service.command
    settings = "\n".join(
        f"[Environment]::SetEnvironmentVariable({_ps(name)}, {_ps(value)}, 'Machine')"
        for name, value in service.settings.items()
    )
    arguments = " ".join(f'"{word}"' if " " in word else word for word in words)
    return f"""\
# Save as {NAME}.ps1, run it once in a PowerShell of an administrator. It asks for the
# password of {service.user}: a task that starts before anybody signs in needs it.
# DATABASE_URL with a password, AWS_… of a store: set likewise, not kept in this file.
{settings}
$action = New-ScheduledTaskAction -Execute {_ps(program)} `
  -Argument {_ps(arguments)} -WorkingDirectory {_ps(str(service.tree))}
$start = New-ScheduledTaskTrigger -AtStartup
$how = New-ScheduledTaskSettingsSet -RestartCount 999 `
  -RestartInterval (New-TimeSpan -Minutes 1) -ExecutionTimeLimit ([TimeSpan]::Zero) `
  -AllowStartIfOnBatteries -DontStopIfGoingOnBatteries
$who = Get-Credential -UserName {_ps(service.user)} -Message 'Runs Fayline'
Register-ScheduledTask -TaskName {NAME} -Action $action -Trigger $start -Settings $how `
  -User $who.UserName -Password $who.GetNetworkCredential().Password
Start-ScheduledTask -TaskName {NAME}
"""


def _ps(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


PRINTS = {"linux": systemd, "macos": launchd, "windows": windows}
