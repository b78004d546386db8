#!lua
-- A shared rate limit: a bucket that fills steadily.
-- KEYS: 1 bucket   ARGV: now ms, filled per minute, size, how many to take
-- Returns 0 when they were taken, else the milliseconds until they would be there.

local now, rate, size, want = tonumber(ARGV[1]), tonumber(ARGV[2]), tonumber(ARGV[3]), tonumber(ARGV[4])
local at = redis.call('HMGET', KEYS[1], 'left', 'at')
local since = tonumber(at[2] or now)
local left = tonumber(at[1] or size)
if now > since then left = left + (now - since) * rate / 60000 end
if left > size then left = size end
-- Rounding must not make somebody wait for a part in a billion.
if left + 1e-9 < want then return math.ceil((want - left) * 60000 / rate) end
redis.call('HSET', KEYS[1], 'left', string.format('%.9f', left - want), 'at', string.format('%.0f', math.max(now, since)))
return 0
