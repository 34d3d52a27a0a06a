-- GETs of one set by its id, any of the book's. Arguments: the key, the number of sets, what their ids begin with.
dofile("tests/bench/counted.lua")

function init(arguments)
  wrk.headers["Authorization"] = "Bearer " .. arguments[1]
  sets, prefix = tonumber(arguments[2]), arguments[3]
end

function request()
  return wrk.format("GET", string.format("/v1/sets/%s%012x", prefix, math.random(0, sets - 1)))
end
