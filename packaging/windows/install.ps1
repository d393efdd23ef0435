# Installs Tallywheel for the user who runs this, and starts it at every login. No administrator is needed.
#
#   powershell -ExecutionPolicy Bypass -File install.ps1
#
# The program goes to %LOCALAPPDATA%\Programs\Tallywheel. Your files in %APPDATA%\tallywheel are not touched; where
# there are none, the examples are put there as a start. uninstall.ps1 takes all but your files away again.
$ErrorActionPreference = 'Stop'
$folder = Join-Path $env:LOCALAPPDATA 'Programs\Tallywheel'
$program = Join-Path $folder 'tallywheel.exe'
$config = Join-Path $env:APPDATA 'tallywheel'

Get-Process -Name tallywheel -ErrorAction SilentlyContinue | Where-Object { $_.Path -eq $program } | Stop-Process
New-Item -ItemType Directory -Force -Path $folder | Out-Null
Copy-Item -Path (Join-Path $PSScriptRoot '*') -Destination $folder -Recurse -Force

if (-not (Test-Path (Join-Path $config 'rig.toml'))) {
    New-Item -ItemType Directory -Force -Path (Join-Path $config 'aircraft') | Out-Null
    Copy-Item -Path (Join-Path $folder 'examples\rig.toml') -Destination $config
    Copy-Item -Path (Join-Path $folder 'examples\aircraft\kettrin-2-floatplane.toml') -Destination (Join-Path $config 'aircraft')
    Write-Host "Examples are in $config; change them to describe your rig and aircraft."
}

Set-ItemProperty -Path 'HKCU:\Software\Microsoft\Windows\CurrentVersion\Run' -Name 'Tallywheel' -Value ('"{0}" run --background' -f $program)
& $program check
Write-Host "Tallywheel is in $folder and starts at your next login. Now: & '$program' run --background"
