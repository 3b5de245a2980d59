-- For wrk: posts the bodies of a file, one a line, in turn from a given one on; prints what over_http.py reads.
local requests, at = {}, 0

function init(args)
  local headers = { ["Content-Type"] = "application/json", ["Authorization"] = "Bearer " .. args[2] }
  for body in io.lines(args[1]) do
    requests[#requests + 1] = wrk.format("POST", nil, headers, body)
  end
  at = tonumber(args[3])
end

function request()
  at = at % #requests + 1
  return requests[at]
end

function done(summary, latency, _)
  local errors = summary.errors
  io.write(string.format(
    "RESULT %d %d %d %d %.0f %.0f\n",
    summary.requests, summary.duration,
    errors.connect + errors.read + errors.write + errors.timeout, errors.status,
    latency:percentile(50), latency:percentile(99)
  ))
end
