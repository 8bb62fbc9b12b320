-- Jobs, the oldest first. KEYS: all jobs, sign of life of who asks. ARGV: prefix, whose (`=owner`; empty: anybody's),
-- the one that is looked for (empty: all), 1 when a process without a sign of life counts as lost; then problem and
-- responses of a job whose process is lost, and the ms that they are kept.
local prefix, sees = ARGV[1], ARGV[2]
-- Who was not heard itself does not judge others.
local judges = ARGV[4] == '1' and redis.call('EXISTS', KEYS[2]) == 1
local asked, found = {ARGV[3]}, {}
if ARGV[3] == '' then
  asked = redis.call('ZRANGE', KEYS[1], 0, -1)
end
for _, id in ipairs(asked) do
  local key = prefix .. ':job:' .. id
  local job = redis.call(
    'HMGET', key, 'process', 'made', 'study', 'state', 'done', 'total', 'seconds', 'problem', 'owner')
  local state = job[4]
  if not state or state == 'dropped' then
    redis.call('ZREM', KEYS[1], id)
  elseif sees == '' or sees == '=' .. job[9] then
    local unfinished = state == 'queued' or state == 'running'
    if judges and unfinished and redis.call('EXISTS', prefix .. ':alive:' .. job[1]) == 0 then
      job[4], job[8] = 'failed', ARGV[5]
      redis.call('HSET', key, 'state', job[4], 'problem', job[8])
      redis.call('PEXPIRE', key, ARGV[7])
      redis.call('SET', prefix .. ':answer:' .. id, ARGV[6], 'PX', ARGV[7])
    end
    job[9] = id
    found[#found + 1] = job
  end
end
return found
