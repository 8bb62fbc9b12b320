-- Wish that a job be cancelled, unless it is over. KEYS: the job. ARGV: prefix, id.
local job = redis.call('HMGET', KEYS[1], 'state', 'process')
if job[1] == 'queued' or job[1] == 'running' then
  local wishes = ARGV[1] .. ':wishes:' .. job[2]
  redis.call('SADD', wishes, ARGV[2])
  redis.call('PEXPIRE', wishes, 60000)
end
return false
