-- KEYS: the count, channels with a state, channels that were cleared. ARGV[1]: a name for a new history.
local run = string.match(redis.call('INFO', 'server'), 'run_id:(%w+)')
local known = redis.call('HMGET', KEYS[1], 'run', 'epoch', 'n')
local epoch, n = known[2], tonumber(known[3])
if known[1] ~= run or not epoch then
  -- The count was lost, or comes from a snapshot that may be older than what was sent.
  epoch, n = ARGV[1], 0
  redis.call('DEL', KEYS[1], KEYS[2], KEYS[3])
  redis.call('HSET', KEYS[1], 'run', run, 'epoch', epoch, 'n', 0)
end
