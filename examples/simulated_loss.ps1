# Sends one simulated loss and prints its verdict. Windows PowerShell 5.1 and later.
# The balance, weights and readings are invented.
param(
    [string] $Url = 'http://127.0.0.1:8000',
    [string] $ApiKey = $env:WEIGHWORTHY_API_KEY,
    [decimal] $Start = 12.001,
    [decimal] $End = 10.001
)
$ErrorActionPreference = 'Stop'

# A German or French Windows would otherwise write a comma, which the service refuses.
$invariant = [System.Globalization.CultureInfo]::InvariantCulture
function Grams([decimal] $value) { $value.ToString('0.000', $invariant) + ' g' }

$request = @{
    instrument   = @{
        id                         = 'MA-07'
        scale_interval             = '1 mg'
        repeatability              = '0.6 mg'
        repeatability_observations = 10
    }
    weights      = @{
        A10 = @{ nominal = '10 g'; weight_class = 'OIML F1' }
        A2  = @{ nominal = '2 g'; weight_class = 'OIML F1' }
    }
    performed_at = (Get-Date).ToString("yyyy-MM-dd'T'HH:mm:sszzz", $invariant)
    heating      = $false
    # @( ) keeps a single weight a list.
    initial      = @{ load = @('A10', 'A2'); indication = Grams $Start }
    final        = @{ load = @('A10'); indication = Grams $End }
}
# The default depth of 2 would cut the document; a text body would not be sent as UTF-8.
$body = [System.Text.Encoding]::UTF8.GetBytes(($request | ConvertTo-Json -Depth 10))
$headers = @{ Accept = 'application/json' }
if ($ApiKey) { $headers.Authorization = "Bearer $ApiKey" }

try {
    $reply = Invoke-WebRequest -UseBasicParsing -Method Post -Uri "$Url/v1/checks/simulated-loss" `
        -ContentType 'application/json' -Headers $headers -Body $body
}
catch {
    # The problem document: in ErrorDetails (PowerShell 7), or in the response stream (5.1).
    $text = $null
    if ($_.ErrorDetails) { $text = $_.ErrorDetails.Message }
    elseif ($_.Exception.Response) {
        $stream = $_.Exception.Response.GetResponseStream()
        if ($stream.CanSeek) { $stream.Position = 0 }
        $text = (New-Object System.IO.StreamReader($stream, [System.Text.Encoding]::UTF8)).ReadToEnd()
    }
    if (-not $text) { throw }
    $problem = $text | ConvertFrom-Json
    Write-Output "refused: $($problem.title)"
    foreach ($fault in $problem.errors) { Write-Output "  $($fault.pointer): $($fault.detail)" }
    exit 4
}

# The bytes are what to store; 5.1 would decode them with the wrong character set.
$json = [System.Text.Encoding]::UTF8.GetString($reply.RawContentStream.ToArray())
$answer = $json | ConvertFrom-Json
Write-Output "verdict: $($answer.verdict), usable: $($answer.usable)"
foreach ($finding in $answer.findings) { Write-Output "  $($finding.severity): $($finding.message)" }
if ($answer.usable) { exit 0 } else { exit 1 }
