-- What wrk counted, as the last line of its output: msgspec reads it in load.py.
function done(summary, latency, requests)
  local errors = summary.errors
  io.write(string.format(
    '\n{"answers": %d, "seconds": %f, "refused": %d, "lost": %d, "p50_ms": %f, "p99_ms": %f}\n',
    summary.requests, summary.duration / 1e6, errors.status,
    errors.connect + errors.read + errors.write + errors.timeout,
    latency:percentile(50) / 1e3, latency:percentile(99) / 1e3))
end
