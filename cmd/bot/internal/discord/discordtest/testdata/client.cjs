// A bot on another library, to see whether the Discord of the tests is one that
// others take for Discord. It is told the address, the token and where the
// library is, and says on its output what happens to it.
const { createRequire } = require('node:module');
const { Client, GatewayIntentBits, AttachmentBuilder, MessageFlags } = createRequire(process.env.DISCORD_JS + '/here.js')('discord.js');

const say = (...words) => console.log(words.join(' '));
const client = new Client({
  intents: [GatewayIntentBits.Guilds],
  rest: { api: process.env.BASE + '/api', version: '10', retries: 0 },
});

client.on('clientReady', async () => {
  await client.application.commands.set([{ name: 'roll', description: 'Roll dice', options: [{ type: 3, name: 'dice', description: 'which', autocomplete: true }] }]);
  say('ready', client.guilds.cache.size);
});
client.on('shardResume', (id, replayed) => say('resumed', replayed));
client.on('error', (e) => say('error', e.message));

client.on('interactionCreate', async (i) => {
  if (i.isAutocomplete()) return i.respond([{ name: '12d6 4+', value: '12d6 4+' }]);
  if (i.isModalSubmit()) return i.reply({ content: 'orders: ' + i.fields.getTextInputValue('orders') });
  if (i.isButton()) return i.update({ content: 'pressed', components: [] });
  if (i.isMessageContextMenuCommand()) return i.reply({ content: 'about ' + i.targetMessage.content, flags: MessageFlags.Ephemeral });
  if (i.commandName === 'order') {
    return i.showModal({ custom_id: 'form', title: 'Orders', components: [{ type: 18, label: 'Orders', component: { type: 4, custom_id: 'orders', style: 2 } }] });
  }
  await i.deferReply();
  await i.editReply({
    content: 'rolled ' + i.options.getString('dice'),
    files: [new AttachmentBuilder(Buffer.from('PICTURE'), { name: 'dice.png', description: 'twelve dice' })],
    components: [{ type: 1, components: [{ type: 2, style: 2, label: 'Again', custom_id: 'post.1' }] }],
  });
  await i.followUp({ content: 'only you', flags: MessageFlags.Ephemeral });
});

process.stdin.on('end', async () => { await client.destroy(); say('left'); process.exit(0); }).resume();
client.login(process.env.TOKEN).catch((e) => { say('error', e.message); process.exit(1); });
