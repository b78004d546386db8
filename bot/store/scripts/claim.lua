#!lua
-- Take the head of a thread for sending.
-- KEYS: 1 queue  2 outbox  3 busy  4 doubt   ARGV: thread, id, now, lease until (process ms)
-- Returns {attempt, 1 when an earlier attempt's end is unknown} or a word saying why not.

local head = redis.call('LINDEX', KEYS[1], 0)
if head ~= ARGV[2] then
  if redis.call('HEXISTS', KEYS[2], 's:' .. ARGV[2]) == 1 then return 'behind' end
  return 'gone'
end
local lease = redis.call('ZSCORE', KEYS[3], ARGV[1])
if lease and tonumber(lease) > tonumber(ARGV[3]) then return 'taken' end

local field = 's:' .. ARGV[2]
local meta = cmsgpack.unpack(redis.call('HGET', KEYS[2], field))
local doubt = meta[1] == 'sending'
meta[1] = 'sending'
meta[2] = meta[2] + 1
redis.call('HSET', KEYS[2], field, cmsgpack.pack(meta))
redis.call('ZADD', KEYS[3], ARGV[4], ARGV[1])
if doubt then redis.call('ZADD', KEYS[4], ARGV[3], ARGV[1]) end
return {meta[2], doubt and 1 or 0}
