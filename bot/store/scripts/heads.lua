#!lua flags=no-writes
-- The first messages of a thread.
-- KEYS: 1 queue  2 outbox  3 busy   ARGV: thread, how many
-- Returns {lease or '', body, state, body, state, ...}

local ids = redis.call('LRANGE', KEYS[1], 0, tonumber(ARGV[2]) - 1)
local found = {redis.call('ZSCORE', KEYS[3], ARGV[1]) or ''}
for _, id in ipairs(ids) do
  local pair = redis.call('HMGET', KEYS[2], 'b:' .. id, 's:' .. id)
  found[#found + 1] = pair[1]
  found[#found + 1] = pair[2]
end
return found
