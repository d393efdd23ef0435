# Takes away what install.ps1 put there: the program and its start at login. Your files stay.
#
#   powershell -ExecutionPolicy Bypass -File uninstall.ps1
$ErrorActionPreference = 'Stop'
$folder = Join-Path $env:LOCALAPPDATA 'Programs\Tallywheel'
$program = Join-Path $folder 'tallywheel.exe'

Remove-ItemProperty -Path 'HKCU:\Software\Microsoft\Windows\CurrentVersion\Run' -Name 'Tallywheel' -ErrorAction SilentlyContinue
Get-Process -Name tallywheel -ErrorAction SilentlyContinue | Where-Object { $_.Path -eq $program } | Stop-Process -PassThru | Wait-Process
if (Test-Path $folder) { Remove-Item -Path $folder -Recurse -Force }
Write-Host "Gone. Your files are still in $(Join-Path $env:APPDATA 'tallywheel'), the logs in $(Join-Path $env:LOCALAPPDATA 'tallywheel')."
