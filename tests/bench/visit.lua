-- PUTs new visits, to the businesses in turn, and in each to the properties in turn, every further look five minutes
-- later. Arguments: the visit (Looks.template in visit.py says what is put into it), where to begin counting, how
-- many properties, seconds since 1970 of the first look, and the keys of the businesses.
dofile("tests/bench/counted.lua")

local headers, places, number = {}, {}, 0

function init(arguments)
  template, number, properties, began = arguments[1], tonumber(arguments[2]), tonumber(arguments[3]), tonumber(arguments[4])
  for place = 5, #arguments do
    headers[#headers + 1] = {["Authorization"] = "Bearer " .. arguments[place], ["Content-Type"] = "application/json"}
  end
end

local function an_id(noun, count)
  return string.format("%08x-0000-7000-8000-%012x", noun, count)
end

function request()
  local place = math.floor(number / #headers)
  local property, look = place % properties, math.floor(place / properties)
  local at = os.date("!%Y-%m-%dT%H:%M:%SZ", began + 300 * look)
  local values = {PROPERTY = an_id(2, property), AT = at}
  for one = 0, 4 do
    values["SET" .. one] = an_id(3, property * 5 + one)
    values["CHECK" .. one] = an_id(7, number * 5 + one)
  end
  local body = template:gsub("%u+%d?", values)
  local path = "/v1/visits/" .. an_id(6, number)
  local sent = wrk.format("PUT", path, headers[number % #headers + 1], body)
  number = number + 1
  return sent
end
