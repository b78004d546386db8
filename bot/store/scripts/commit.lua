#!lua
-- One decision, written as a whole or not at all. See CORE "What one commit changes".
-- KEYS: 1 fact  2 subject  3 hold  4 mark  5 journal  6 due  7 deadlines of the subject
--       8 ready  9 later  10 busy  11 counters  12 dead  13 names, then queue, outbox and
--       thread of every thread named in the commit.
-- ARGV[1]: msgpack, see pack_commit in wire.py.
-- Returns {0, version} done, {1, outcome} known, {2, version, body, hold, chain} stale.

local c = cmsgpack.unpack(ARGV[1])

if c.fact then
  local outcome = redis.call('GET', KEYS[1])
  if outcome then
    redis.call('SET', KEYS[4], '1')
    return {1, outcome}
  end
end

local at = redis.call('HMGET', KEYS[2], 'ver', 'body', 'chain')
local version = tonumber(at[1] or 0)
local hold = tonumber(redis.call('GET', KEYS[3]) or 0)
if c.version >= 0 and (version ~= c.version or hold ~= c.hold) then
  return {2, version, at[2] or '', hold, at[3] or ''}
end
if c.body and (at[3] or '') ~= c.read then
  return redis.error_reply('CHAIN Commit.chain is not the chain of the subject as loaded')
end

if c.fact then redis.call('SET', KEYS[1], c.outcome, 'EX', c.keep) end

if c.body or c.set then
  -- A deadline set without a new snapshot moves the version all the same: its fact id is made of
  -- the version, and one that was committed before would never count again.
  version = version + 1
  if c.body then
    redis.call('HSET', KEYS[2], 'ver', version, 'body', c.body, 'chain', c.chain)
  else
    redis.call('HSET', KEYS[2], 'ver', version)
  end
  if version == 1 then
    redis.call('SADD', KEYS[13], c.name)
  end
  if c.events then
    redis.call('XADD', KEYS[5], '*', 's', c.name, 'f', c.fact, 'v', version, 'h', c.chain,
      'e', c.events)
  end
end

if c.kinds then
  local old = redis.call('HMGET', KEYS[7], unpack(c.kinds))
  for _, member in ipairs(old) do
    if member then redis.call('ZREM', KEYS[6], member) end
  end
  if c.set then
    redis.call('ZADD', KEYS[6], unpack(c.due))
    redis.call('HSET', KEYS[7], unpack(c.set))
  end
  if c.dropped then
    redis.call('HDEL', KEYS[7], unpack(c.dropped))
  end
end

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

  for _, s in ipairs(c.settle or {}) do
    local i, id, thread = s[1], s[2], s[3]
    local known = redis.call('HMGET', KEYS[i + 1], 's:' .. id, 'b:' .. id)
    if known[1] then
      local first = redis.call('LINDEX', KEYS[i], 0) == id
      forget(i, id, cmsgpack.unpack(known[1]))
      if first then
        redis.call('ZREM', KEYS[10], thread)
        redis.call('ZREM', KEYS[9], thread)
      end
      if s[4] == 'dead' then
        redis.call('HSET', KEYS[12], id, cmsgpack.pack({thread, s[10], known[2]}))
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
          redis.call('ZREM', KEYS[10], thread)
          redis.call('ZREM', KEYS[9], thread)
        end
        forget(i, id, meta)
      end
    end
  end

  for _, m in ipairs(c.outbox or {}) do
    local i, id, thread, score, key, slot, rev = m[1], m[2], m[3], m[5], m[6], m[7], m[8]
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
    if wanted and redis.call('HSETNX', KEYS[i + 1], 'b:' .. id, m[4]) == 1 then
      local fields = {'s:' .. id, cmsgpack.pack({'queued', 0, score, key, slot, rev, ''})}
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
      redis.call('ZADD', KEYS[8], 'LT', score, thread)
    end
  end

  for n, thread in ipairs(c.threads) do
    local i = 11 + 3 * n
    if moved[i] then
      local ids = redis.call('LRANGE', KEYS[i], 0, 15)
      if #ids == 0 then
        redis.call('ZREM', KEYS[8], thread)
        redis.call('ZREM', KEYS[9], thread)
        redis.call('ZREM', KEYS[10], thread)
      else
        for n2, id in ipairs(ids) do ids[n2] = 's:' .. id end
        local best
        for _, meta in ipairs(redis.call('HMGET', KEYS[i + 1], unpack(ids))) do
          local score = cmsgpack.unpack(meta)[3]
          if not best or score < best then best = score end
        end
        redis.call('ZADD', KEYS[8], best, thread)
      end
    end
  end
end

if c.counters then
  for n = 1, #c.counters, 2 do
    redis.call('HINCRBY', KEYS[11], c.counters[n], c.counters[n + 1])
  end
end

if c.held ~= nil and c.held ~= (hold % 2 == 1) then
  redis.call('SET', KEYS[3], hold + 1)
end
return {0, version}
