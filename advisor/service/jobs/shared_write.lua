-- What its own process says of a job. KEYS: the job, its answer, all jobs, wishes of the process.
-- ARGV: id, ms to keep it, its responses (empty: none yet), number of the write, then name and value of each field.
-- Answers nothing, or state and responses when it ended otherwise already.
local final = {done = true, failed = true, cancelled = true}
local new = {}
for i = 5, #ARGV, 2 do
  new[ARGV[i]] = ARGV[i + 1]
end
local before = redis.call('HMGET', KEYS[1], 'number', 'state', 'problem')
-- Redis may run late what nobody waits for any more.
if before[1] and tonumber(before[1]) >= tonumber(ARGV[4]) then
  return false
end
if final[new.state] then
  redis.call('SREM', KEYS[4], ARGV[1])
end
if final[before[2]] then
  local answer = redis.call('GET', KEYS[2])
  if (before[2] ~= new.state or before[3] ~= new.problem) and (answer or before[2] == 'cancelled') then
    return {before[2], answer or ''}
  end
  return false
end
redis.call('HSET', KEYS[1], 'number', ARGV[4], unpack(ARGV, 5))
redis.call('PEXPIRE', KEYS[1], ARGV[2])
if ARGV[3] ~= '' then
  redis.call('SET', KEYS[2], ARGV[3], 'PX', ARGV[2])
end
redis.call('ZADD', KEYS[3], new.made, ARGV[1])
return false
