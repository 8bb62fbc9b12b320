-- KEYS[4]: the events of the channel; KEYS[5]: the topic. ARGV: channel, kind, payload, the place that has to be the
-- newest (epoch, n), events kept, channels at most, seconds that they are kept.
local log, channel, kind = KEYS[4], ARGV[2], ARGV[3]
local kept, most, seconds = tonumber(ARGV[7]), tonumber(ARGV[8]), tonumber(ARGV[9])
local clock = redis.call('TIME')
local now = clock[1] * 1000 + math.floor(clock[2] / 1000)
local last = redis.call('LINDEX', log, -1)
local last_n, last_epoch
if last then
  last_n, last_epoch = string.match(last, '^(%d+) (%w+) ')
  if last_epoch ~= epoch then
    redis.call('DEL', log)
    last = false
  end
end
if ARGV[5] ~= '' and not (last and last_epoch == ARGV[5] and last_n == ARGV[6]) then
  return false
end
if not redis.call('ZSCORE', KEYS[2], channel) and not redis.call('ZSCORE', KEYS[3], channel) then
  local oldest = now - seconds * 1000
  redis.call('ZREMRANGEBYSCORE', KEYS[2], '-inf', oldest)
  redis.call('ZREMRANGEBYSCORE', KEYS[3], '-inf', oldest)
  if redis.call('ZCARD', KEYS[2]) + redis.call('ZCARD', KEYS[3]) >= most then
    local over = redis.call('ZPOPMIN', KEYS[3])
    if #over == 0 then
      return 'full'
    end
    redis.call('DEL', string.sub(log, 1, #log - #channel) .. over[1])
  end
end
local function written(what, payload)
  return string.format('%.0f %s %.0f %s %s\n', n, epoch, now, what, channel) .. payload
end
if not last then
  -- The place at which the channel began: from there on it is known whole.
  redis.call('RPUSH', log, written('clear', '{"why":"reset"}'))
end
n = redis.call('HINCRBY', KEYS[1], 'n', 1)
local entry = written(kind, ARGV[4])
redis.call('RPUSH', log, entry)
redis.call('LTRIM', log, -math.max(kept, 1), -1)
redis.call('EXPIRE', log, seconds)
redis.call('ZREM', kind == 'advice' and KEYS[3] or KEYS[2], channel)
redis.call('ZADD', kind == 'advice' and KEYS[2] or KEYS[3], now, channel)
redis.call('PUBLISH', KEYS[5], entry)
return entry
