#!lua
-- One decision, written as a whole or not at all. See CORE "What one commit changes".
-- KEYS: 1 hold  2 mark  3 journal  4 due  5 ready  6 later  7 busy  8 counters  9 dead  10 names
--       11 fact  12 subject, then queue, outbox and thread of every thread named in the commit.
-- ARGV[1]: msgpack, see commit_call in pack.py. Lists in it are arguments as they are.
-- Returns {0, version} done, {1, outcome} known, {2, version, body, hold, chain} stale.

local c = cmsgpack.unpack(ARGV[1])

if c.fact then
  local outcome = redis.call('GET', KEYS[11])
  if outcome then
    redis.call('SET', KEYS[2], '1')
    return {1, outcome}
  end
end

-- Version, chain, and the members of all deadlines that this commit moves or drops.
local at = redis.call('HMGET', KEYS[12], 'ver', 'chain', unpack(c.kinds))
local version = tonumber(at[1] or 0)
local hold = tonumber(redis.call('GET', KEYS[1]) or 0)
if c.version >= 0 and (version ~= c.version or hold ~= c.hold) then
  return {2, version, redis.call('HGET', KEYS[12], 'body') or '', hold, at[2] or ''}
end
if c.read and (at[2] or '') ~= c.read then
  return redis.error_reply('CHAIN Commit.chain is not the chain of the subject as loaded')
end

if c.fact then redis.call('SET', KEYS[11], c.outcome, 'EX', c.keep) end

if c.subject then
  -- A deadline set without a new snapshot moves the version all the same: its fact id is made of
  -- the version, and one that was committed before would never count again.
  version = version + 1
  redis.call('HSET', KEYS[12], unpack(c.subject))
  if version == 1 then redis.call('SADD', KEYS[10], c.name) end
  if c.journal then redis.call('XADD', KEYS[3], '*', unpack(c.journal)) end
end

if #at > 2 then
  local old = {}
  for n = 3, #at do
    if at[n] then old[#old + 1] = at[n] end
  end
  if #old > 0 then redis.call('ZREM', KEYS[4], unpack(old)) end
end
if c.due then redis.call('ZADD', KEYS[4], unpack(c.due)) end
if c.dropped then redis.call('HDEL', KEYS[12], unpack(c.dropped)) end

if c.settle or c.outbox or c.silence then
  local moved = {}

  local function forget(i, id, meta)
    local removed = redis.call('LREM', KEYS[i], 1, id)
    redis.call('HDEL', KEYS[i + 1], 'b:' .. id, 's:' .. id)
    for _, field in ipairs({meta[4] ~= '' and 'k:' .. meta[4], meta[5] ~= '' and 'e:' .. meta[5]}) do
      if field and redis.call('HGET', KEYS[i + 1], field) == id then
        redis.call('HDEL', KEYS[i + 1], field)
      end
    end
    moved[i] = true
    return removed
  end

  local function queue(i, thread, id, body, packed)
    local _, _, score, key, slot, rev = unpack(cmsgpack.unpack(packed))
    local wanted = true
    for _, field in ipairs({key ~= '' and 'k:' .. key, slot ~= '' and 'e:' .. slot}) do
      local older = field and redis.call('HGET', KEYS[i + 1], field)
      if older then
        local meta = cmsgpack.unpack(redis.call('HGET', KEYS[i + 1], 's:' .. older))
        if field == 'e:' .. slot and meta[6] > rev then
          wanted = false
        elseif meta[1] == 'queued' then
          forget(i, older, meta)
        end
      end
    end
    if not wanted or redis.call('HSETNX', KEYS[i + 1], 'b:' .. id, body) == 0 then return end
    local fields = {'s:' .. id, packed}
    if key ~= '' then
      fields[#fields + 1] = 'k:' .. key
      fields[#fields + 1] = id
    end
    if slot ~= '' then
      fields[#fields + 1] = 'e:' .. slot
      fields[#fields + 1] = id
    end
    redis.call('HSET', KEYS[i + 1], unpack(fields))
    redis.call('RPUSH', KEYS[i], id)
    redis.call('ZADD', KEYS[5], 'LT', score, thread)
  end

  for _, s in ipairs(c.settle or {}) do
    local i, id, thread = s[1], s[2], s[3]
    local known = redis.call('HMGET', KEYS[i + 1], 's:' .. id, 'b:' .. id)
    if known[1] then
      local first = redis.call('LINDEX', KEYS[i], 0) == id
      forget(i, id, cmsgpack.unpack(known[1]))
      if first then
        redis.call('ZREM', KEYS[7], thread)
        redis.call('ZREM', KEYS[6], thread)
      end
      if s[4] == 'dead' then
        redis.call('HSET', KEYS[9], id, cmsgpack.pack({thread, s[10], known[2]}))
      elseif s[4] == 'sent' then
        if s[5] ~= '' then redis.call('HSET', KEYS[i + 2], 'channel', s[5]) end
        if s[9] then redis.call('HSET', KEYS[i + 2], 'root', s[6]) end
        if s[7] ~= '' then
          local slot = redis.call('HGET', KEYS[i + 2], 'slot:' .. s[7])
          local rev = slot and tonumber(string.match(slot, ' (%-?%d+)$'))
          if not rev or rev <= s[8] then
            redis.call('HSET', KEYS[i + 2], 'slot:' .. s[7], s[6] .. ' ' .. s[8])
          end
        end
      end
    end
  end

  -- Nothing that still waits in these threads may be said any more. What is being sent cannot
  -- be called back, and a thread that has no root yet keeps the message that opens it.
  for _, quiet in ipairs(c.silence or {}) do
    local i, thread = quiet[1], quiet[2]
    local ids = redis.call('LRANGE', KEYS[i], 0, -1)
    local opens = not redis.call('HGET', KEYS[i + 2], 'root')
    for n, id in ipairs(ids) do
      local raw = redis.call('HGET', KEYS[i + 1], 's:' .. id)
      local meta = raw and cmsgpack.unpack(raw)
      if meta and meta[1] == 'queued' and not (n == 1 and opens) then
        if n == 1 then
          redis.call('ZREM', KEYS[7], thread)
          redis.call('ZREM', KEYS[6], thread)
        end
        forget(i, id, meta)
      end
    end
  end

  -- Usually nothing older is in the way of what is new in a thread, and it is written at once.
  for _, new in ipairs(c.outbox or {}) do
    local i, thread, score, checked, set, ids = unpack(new)
    local free = #checked > 0
    if free then
      for _, found in ipairs(redis.call('HMGET', KEYS[i + 1], unpack(checked))) do
        free = free and not found
      end
    end
    if free then
      redis.call('HSET', KEYS[i + 1], unpack(set))
      redis.call('RPUSH', KEYS[i], unpack(ids))
      redis.call('ZADD', KEYS[5], 'LT', score, thread)
    else
      for n, id in ipairs(ids) do
        queue(i, thread, id, set[4 * n - 2], set[4 * n])
      end
    end
  end

  for n, thread in ipairs(c.threads) do
    local i = 10 + 3 * n
    if moved[i] then
      local ids = redis.call('LRANGE', KEYS[i], 0, 15)
      if #ids == 0 then
        redis.call('ZREM', KEYS[5], thread)
        redis.call('ZREM', KEYS[6], thread)
        redis.call('ZREM', KEYS[7], thread)
      else
        for n2, id in ipairs(ids) do ids[n2] = 's:' .. id end
        local best
        for _, meta in ipairs(redis.call('HMGET', KEYS[i + 1], unpack(ids))) do
          local score = cmsgpack.unpack(meta)[3]
          if not best or score < best then best = score end
        end
        redis.call('ZADD', KEYS[5], best, thread)
      end
    end
  end
end

if c.counters then
  for n = 1, #c.counters, 2 do
    redis.call('HINCRBY', KEYS[8], c.counters[n], c.counters[n + 1])
  end
end

if c.held ~= nil and c.held ~= (hold % 2 == 1) then
  redis.call('SET', KEYS[1], hold + 1)
end
return {0, version}
