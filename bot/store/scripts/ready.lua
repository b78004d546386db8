#!lua flags=no-writes
-- Threads that may be sent to now, the most urgent first, as one msgpack value: a client takes a
-- list of hundreds of names apart one by one.
-- KEYS: 1 ready  2 later  3 busy   ARGV: wave now, process now, limit

local wave, process, limit = tonumber(ARGV[1]), tonumber(ARGV[2]), tonumber(ARGV[3])
local found, from, step = {}, 0, 128
while #found < limit do
  local threads = redis.call('ZRANGE', KEYS[1], from, from + step - 1)
  if #threads == 0 then break end
  local later = redis.call('ZMSCORE', KEYS[2], unpack(threads))
  local busy = redis.call('ZMSCORE', KEYS[3], unpack(threads))
  for n, thread in ipairs(threads) do
    local free = not later[n] or tonumber(later[n]) <= wave
    if free and (not busy[n] or tonumber(busy[n]) <= process) and #found < limit then
      found[#found + 1] = thread
    end
  end
  from = from + step
end
return cmsgpack.pack(found)
