"""Makes the logs of five more crews in this folder: a landslide in gon with a row of units, trees with slopes in percent, drains in
feet with degrees and minutes and a header that begins like a comment, a line with bearings in quadrants, a quarry by a tape level with
epoch seconds; and the truth that they were made from.

    pip install pyproj==3.7.2 openpyxl==3.1.5 pygeomag==1.1.0 && python make2.py

As make.py: places by pyproj's Geod, convergence by PROJ, declinations of WMM2025 by pygeomag. Invented places, crews and values.
"""
import math, random, os, json, datetime as dt
from pyproj import Geod, Transformer, Proj
from openpyxl import Workbook
from drawn import *
R.seed(11)
truth={}
# Landslide, Spain
p=d('es2'); tr=Transformer.from_crs(4258,25830,always_xy=True); pl=Proj(25830)
bases={'V1':(42.7011,-4.1021,912.0),'V2':(42.7021,-4.1003,920.5)}
open(p+'vertices.csv','w',encoding='utf-8').write('Vértice;X (m);Y (m);Cota elip. (m);EMC planim.;EMC altim.\n'+''.join('%s;%s;%s;%s;0,015;0,020\n'%(k,f'{tr.transform(v[1],v[0])[0]:,.3f}'.replace(',','#').replace('.',',').replace('#','.'),f'{tr.transform(v[1],v[0])[1]:,.3f}'.replace(',','#').replace('.',',').replace('#','.'),c(v[2],3)) for k,v in bases.items()))
t={}; rows=[]; i=0
for b,base in bases.items():
    conv=pl.get_factors(base[1],base[0]).meridian_convergence
    for q in around(base,8,40,260,0,360,-30,20):
        i+=1; n=f'H{i:02d}'; t[n]=q; eye=1.52 if b=='V1' else 1.6; hp=1.3
        sd,az,inc,hd=shot(base,(q[0],q[1],q[2]+hp),eye=eye); g=((az-conv)%360)/.9; z=(90-inc)/.9
        rows.append(f"{b};{n};{c(g,4)};{c(z,4)};{c(sd,3)};{c(eye,2)};{c(hp,2)};{R.choice(['hito','grieta','pie del talud'])};{3+i//9}-jun-26;{9+i//6}:{i*3%60:02d};{R.choice(['','agrietado','movido'])}")
open(p+'lecturas.csv','w',encoding='utf-8').write('\ufeffDeslizamiento de Valdesauce - campaña 2;;;;;;;;;;\nOperador: M.;;;;;;;;;;\n;;;;;;;;;;\nEstac.;Pto.;Acimut;Cenital;Dist. geom.;A.I.;A.P.;Tipo;Fecha;Hora;Observ.\n;;(g);(g);(m);(m);(m);;;;\n'+'\n'.join(rows)+'\n;;;;;;;;;;\nTotal puntos;16;;;;;;;;;\n')
truth['es2']=t
# Finnish forestry wide percent
p=d('fi2'); t={}; rows=[]
for k in range(1,3):
  for i in range(1,11):
    D=R.uniform(12,28); H=R.uniform(8,26); L=R.uniform(2,6); e=1.6+R.uniform(-1,1)
    pc=lambda h: f'{round((h-e)/D*100)}'
    n=f'{k}/{i}'; t[n]=[H,D,(round((H-e)/D*100)-round((0-e)/D*100))*round(D,1)/100]
    rows.append(f"{k};{i};{R.choice(['mänty','kuusi','koivu'])};{R.randint(120,400)};{c(D,1)};{pc(H)};{pc(L)};{pc(0)};{R.choice(['','latva poikki'])}")
open(p+'puut.csv','w',encoding='cp1252').write('Koeala;Puu nro;Puulaji;d1,3 (mm);Vaakaetäisyys (m);Latva (%);Latvusraja (%);Tyvi (%);Huomautus\n'+'\n'.join(rows)+'\n')
truth['fi2']=t
# US culverts: feet, AM/PM, degrees-minutes
p=d('us2'); bases={'TP 1':(44.8011,-68.8521,40.0),'TP 2':(44.8021,-68.8503,42.5),'TP 3':(44.8031,-68.8493,41.5)}
def dm(v,pos,neg,n=5):
    s=pos if v>=0 else neg; v=abs(v); D=int(v); return f"{D}° {(v-D)*60:0{n+3}.{n}f}' {s}"
open(p+'turning points.csv','w',encoding='utf-8').write('Sta,Latitude,Longitude,HAE (ft),H. Acc (ft),V. Acc (ft)\n'+''.join(f'{k},"{dm(v[0],"N","S")}","{dm(v[1],"E","W")}",{v[2]/.3048:.2f},0.1,0.15\n' for k,v in bases.items()))
t={}; rows=[]; i=0
def dmm(v):
    s='-' if v<0 else ''; v=abs(v); D=int(v); M=round((v-D)*60); 
    if M==60: D+=1; M=0
    return f"{s}{D}°{M:02d}'"
for b,base in bases.items():
    for q in around(base,6,40,200,0,360,-8,12):
        i+=1; n=f'CB-{i}'; t[n]=q; eye=5.0*.3048
        sd,az,inc,hd=shot(base,q,decl=decl(base,2026.7),eye=eye)
        h=10+i//5; tm=f"{(h-1)%12+1}:{i*7%60:02d}:{R.randint(0,59):02d} {'AM' if h<12 else 'PM'}"
        rows.append(f"{i},{b},9/{2+i%3}/2026 {tm},{R.choice(['catch basin','culvert','hydrant'])},{n},{sd/.3048:.1f},{dmm(az)},{dmm(inc)},5.0,0,{R.choice(['','plugged','rim broken, N side'])}")
open(p+'shots.csv','w',encoding='utf-8').write('#,Occ Sta,Date/Time,Type,Structure,SD (ft),Az (mag),Vert Ang,HI (ft),Rod (ft),Remarks\n'+'\n'.join(rows)+'\n')
truth['us2']=t
# Polish line, cp1250 + xlsx bases, quadrant bearings
p=d('pl2'); tr=Transformer.from_crs(4258,2180,always_xy=True)
bases={'S-1':(51.1012,18.1011,180.0),'S-2':(51.1021,18.1031,182.0)}
wb=Workbook(); ws=wb.active; ws.title='Opis'; ws.append(['Linia 15 kV, odcinek 7']); ws.append(['Mierzył: zespół B'])
s=wb.create_sheet('Stanowiska'); s.append(['Nazwa','X [m]','Y [m]','Wys. elips.','mp [m]','mh [m]'])
for k,v in bases.items():
    y,x=tr.transform(v[1],v[0]); s.append([k,round(x,3),round(y,3),v[2],0.03,0.05])
wb.save(p+'osnowa.xlsx')
t={}; rows=[]; i=0
def quad(a):
    a%=360
    if a<90: return 'N',a,'E'
    if a<180: return 'S',180-a,'E'
    if a<270: return 'S',a-180,'W'
    return 'N',360-a,'W'
for b,base in bases.items():
    for q in around(base,9,30,150,0,360,-3,11):
        i+=1; n=f'słup {i}'; t[n]=q
        sd,az,inc,hd=shot(base,q,decl=decl(base,2026.3),eye=1.5); x,a,y=quad(az)
        rows.append(f"{i};{b};{n};{R.choice(['żelbet','drewno'])};{x}{y} {c(a,1)};{c(inc,1)};{c(sd,1)};18 kwietnia 2026;{8+i//9}.{i*6%60:02d};{R.choice(['','pęknięty'])}")
open(p+'pomiary.csv','w',encoding='cp1250').write('Lp.;Stanow.;Słup;Materiał;Azymut ćwiartkowy;Nachylenie;Odl. skośna [m];Data;Godzina;Uwagi\n'+'\n'.join(rows)+'\nRazem;;18 słupów;;;;;;;\n')
truth['pl2']=t
# German quarry: packed degrees (DDD.MMSS)? epoch seconds, HD + dH
p=d('de2'); bases={'A':(50.5011,10.1011,400.0),'B':(50.5021,10.1031,402.0)}
tr=Transformer.from_crs(4258,25832,always_xy=True)
open(p+'festpunkte.txt','w',encoding='cp1252').write('Pkt\tRechtswert\tHochwert\tHöhe (ell.)\n'+''.join('%s\t32%s\t%s\t%s\n'%(k,c(tr.transform(v[1],v[0])[0],2),c(tr.transform(v[1],v[0])[1],2),c(v[2],2)) for k,v in bases.items()))
t={}; rows=[]; i=0
for b,base in bases.items():
    for q in around(base,7,30,150,0,360,-20,15):
        i+=1; n=f'F{i}'; t[n]=q
        sd,az,inc,hd=shot(base,q,decl=decl(base,2026.5),eye=1.6)
        rows.append(f"{i}\t{b}\t{n}\t{c(az,1)}\t{c(hd,2)}\t{c(q[2]-base[2]-1.6,2)}\t{int(dt.datetime(2026,7,2,7,i,tzinfo=dt.timezone.utc).timestamp())}\t{R.choice(['Kante','Fuß','Kluft'])}")
open(p+'messung.txt','w',encoding='cp1252').write('Nr\tStandpunkt\tZiel\tRichtung mag. (°)\tHorizontalstrecke\tHöhenunterschied\tZeitstempel\tArt\n'+'\n'.join(rows)+'\n')
truth['de2']=t
json.dump(truth,open('truth2.json','w'),indent=1)
