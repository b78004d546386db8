#!lua
-- Take or renew a lease that runs out by itself.
-- KEYS: 1 lease   ARGV: owner, ttl ms (0 gives it up)

local owner = redis.call('GET', KEYS[1])
if owner and owner ~= ARGV[1] then return 0 end
if ARGV[2] == '0' then
  redis.call('DEL', KEYS[1])
else
  redis.call('SET', KEYS[1], ARGV[1], 'PX', ARGV[2])
end
return 1
