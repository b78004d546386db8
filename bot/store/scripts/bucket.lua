#!lua
-- A shared rate limit: a bucket that fills steadily. What is in it is counted in 60000ths, so that
-- a rate for each minute and a clock in milliseconds make whole numbers.
-- KEYS: 1 bucket   ARGV: now ms, filled per minute, size, how many to take
-- Returns 0 when they were taken, else the milliseconds until they would be there.

local now, rate = tonumber(ARGV[1]), tonumber(ARGV[2])
local size, want = ARGV[3] * 60000, ARGV[4] * 60000
local at = redis.call('HMGET', KEYS[1], 'left', 'at')
local since = tonumber(at[2] or now)
local left = tonumber(at[1] or size)
left = math.min(size, left + math.max(0, now - since) * rate)
if left < want then return math.ceil((want - left) / rate) + math.max(0, since - now) end
redis.call('HSET', KEYS[1], 'left', left - want, 'at', math.max(now, since))
return 0
