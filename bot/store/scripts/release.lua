#!lua
-- Give a claimed message back after a passing error.
-- KEYS: 1 outbox  2 busy  3 later
-- ARGV: thread, id, not before (wave ms), why, 1 when it may have been posted all the same

local field = 's:' .. ARGV[2]
local packed = redis.call('HGET', KEYS[1], field)
if not packed then return 0 end
local meta = cmsgpack.unpack(packed)
if meta[1] ~= 'sending' then return 0 end
if ARGV[5] ~= '1' then meta[1] = 'queued' end
meta[7] = ARGV[4]
redis.call('HSET', KEYS[1], field, cmsgpack.pack(meta))
redis.call('ZREM', KEYS[2], ARGV[1])
redis.call('ZADD', KEYS[3], ARGV[3], ARGV[1])
return 1
